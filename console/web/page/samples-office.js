// SPDX-License-Identifier: Apache-2.0

// Sample people, facepieces, kit and a day of an invented place, Harrowgate
// Stoneworks: for states-office.html and for tests. Nobody in it is real.

import { empty } from "./api.js";
import { recipeText } from "./state-office.js";

export const today = "2026-09-14";

/** @type {{id: string, label: string}[]} */
export const rules = [{ id: "us-osha", label: "US rule" }, { id: "uk-hse", label: "UK guidance" }];

/** @type {import("./api.js").Facepiece[]} */
export const facepieces = [
  { ...empty.facepiece, id: "corrie-half-m", make: "Corrie", model: "Half 2", size: "medium", style: "silicone, two P3 filters", type: "half_mask", fit_factor: 100, pieces: ["C1", "C2"], stock: 4, cleaned: { C1: "2026-09-14T08:12:00+02:00" }, refused: {} },
  { ...empty.facepiece, id: "corrie-half-l", make: "Corrie", model: "Half 2", size: "large", style: "silicone, two P3 filters", type: "half_mask", fit_factor: 100, pieces: ["C7"], stock: 2, cleaned: { C7: "2026-09-11T16:40:00+02:00" }, refused: {} },
  { ...empty.facepiece, id: "dunmore-fold", make: "Dunmore", model: "Fold P3", size: "one size", style: "folded, with a valve", type: "disposable", stock: 38, cleaned: {}, refused: {} },
  {
    ...empty.facepiece, id: "selby-full-m", make: "Selby", model: "Vista", size: "medium", style: "rubber, wide visor", type: "full_face", fit_factor: 500, pieces: ["S1"], stock: 0, cleaned: {},
    refused: {
      "us-osha": "US rule allows the taste test only where a fit factor of 100 or less is needed; this one needs 500. Use a quantitative test.",
      "uk-hse": "UK guidance does not allow the taste test for a full face mask. Use a quantitative test.",
    },
  },
];

/** @param {string} id @param {Partial<import("./api.js").Person>} over @returns {import("./api.js").Person} */
export function aPerson(id, over) {
  return { ...empty.person, id, cleared: { on: "2026-02-03", who: "Dr Aldous Penhallow" }, triggered: null, left: "", tested: [], due: [], fails: {}, ...over };
}
/** @param {string} facepiece @param {string} on @param {string} why @returns {import("./api.js").Due} */
const due = (facepiece, on, why) => ({ person: "", facepiece, on, why });
/** @param {string} facepiece @param {string} on @returns {import("./api.js").Tested} */
const tested = (facepiece, on) => ({ facepiece, run: "r000041", on, rules: "us-osha", trusted: true });

/** @type {import("./api.js").Person[]} */
export const people = [
  aPerson("p-7kd20f31", { name: "Ilse Brandvold", number: "H-0412", job: "banker mason", languages: ["en", "pl"], facepieces: ["corrie-half-m", "dunmore-fold"], tested: [tested("corrie-half-m", "2025-09-26"), tested("dunmore-fold", "2026-03-30")], due: [due("corrie-half-m", "2026-09-26", "interval"), due("dunmore-fold", "2027-03-30", "interval")], note: "Works in the saw shed on Mondays." }),
  aPerson("p-0m3x9a2c", { name: "Tomasz Okonjo", number: "H-0388", job: "saw operator", facepieces: ["corrie-half-l"], tested: [tested("corrie-half-l", "2025-07-02")], due: [due("corrie-half-l", "2026-07-02", "interval")], fails: { "corrie-half-l": 1 } }),
  aPerson("p-c44w1t8e", { name: "Marit Quayle", number: "", job: "letter cutter", facepieces: ["dunmore-fold"], tested: [tested("dunmore-fold", "2026-05-19")], due: [due("dunmore-fold", "2027-05-19", "interval")] }),
  aPerson("p-9q2b7v5h", { name: "Σοφία Παπαδάκη", number: "H-0517", job: "polisher", facepieces: ["corrie-half-m"], due: [due("corrie-half-m", "0000-00-00", "never_tested")], cleared: null }),
  aPerson("p-5f8n3k6j", { name: "ليلى حداد", number: "H-0520", job: "apprentice mason", facepieces: ["dunmore-fold"], tested: [tested("dunmore-fold", "2026-01-12")], due: [due("dunmore-fold", "0000-00-00", "trigger")], triggered: { trigger: "dental", on: "2026-09-10" } }),
  aPerson("p-2z6r4d1y", { name: "", number: "H-0099", job: "crane driver" }),
  aPerson("p-8e1g5s7u", { name: "Brannoch Ives", number: "H-0207", job: "fixer", facepieces: ["corrie-half-m"], left: "2026-06-30" }),
];

/** @param {string} run @param {string} person @param {string} at @param {string} outcome @param {Partial<import("./api.js").Run>} [over] @returns {import("./api.js").Run} */
export function aRun(run, person, at, outcome, over = {}) {
  return { run, person, facepiece: "corrie-half-m", make: "Corrie", model: "Half 2", size: "medium", rules: "us-osha", agent: "bitter", tester: "Oda Fennimore", at, outcome, reason: "", recalled: "", practice: false, ...over };
}

export const runs = [
  aRun("r000012", "p-7kd20f31", "2025-09-26T09:02:11+02:00", "fail", { reason: "tasted", size: "large" }),
  aRun("r000013", "p-7kd20f31", "2025-09-26T09:41:07+02:00", "pass"),
  aRun("r000041", "p-7kd20f31", "2026-03-30T13:15:40+02:00", "not_valid", { make: "Dunmore", model: "Fold P3", size: "one size", recalled: "nebuliser found clogged", reason: "mist_check_failed" }),
];

/** @type {import("./api.js").Due[]} */
export const dueList = [
  { person: "p-9q2b7v5h", facepiece: "corrie-half-m", on: "0000-00-00", why: "never_tested", name: "Σοφία Παπαδάκη", label: "Corrie Half 2 medium" },
  { person: "p-5f8n3k6j", facepiece: "dunmore-fold", on: "0000-00-00", why: "trigger", name: "ليلى حداد", label: "Dunmore Fold P3 one size" },
  { person: "p-0m3x9a2c", facepiece: "corrie-half-l", on: "2026-07-02", why: "interval", name: "Tomasz Okonjo", label: "Corrie Half 2 large" },
  { person: "p-7kd20f31", facepiece: "corrie-half-m", on: "2026-09-26", why: "interval", name: "Ilse Brandvold", label: "Corrie Half 2 medium" },
];

/** @param {string} id @param {string} name @param {[number, string, string][]} parts @param {string} text @param {string} source @param {string} mark @returns {import("./api.js").Recipe} */
function recipe(id, name, parts, text, source, mark) {
  const [agent = "", strength = ""] = id.split("-");
  return { id, agent, strength, name, parts: parts.map(([amount, unit, what], i) => ({ what, amount, unit, powder: i === 0 })), volume_ml: parts[1]?.[0] ?? 0, text, source, mark };
}
const part3 = "29 CFR 1910.134 Appendix A, Part I.B.3";
const part4 = "29 CFR 1910.134 Appendix A, Part I.B.4, from memory: to be checked against the official text";
export const recipes = [
  recipe("sweet-weak", "Sodium saccharin, weak, from powder", [[0.83, "g", "sodium saccharin, USP"], [100, "ml", "warm water"]], "Dissolve the sodium saccharin in the warm water.", part3, "[1]"),
  recipe("sweet-strong", "Sodium saccharin, strong, from powder", [[83, "g", "sodium saccharin, USP"], [100, "ml", "warm water"]], "Dissolve the sodium saccharin in the warm water.", part3, "[1]"),
  recipe("bitter-weak", "Denatonium benzoate, weak, from powder", [[13.5, "mg", "denatonium benzoate, USP"], [100, "ml", "5 % salt (NaCl) solution"]], "Dissolve the denatonium benzoate in the salt solution.", part4, "[M]"),
  recipe("bitter-strong", "Denatonium benzoate, strong, from powder", [[337.5, "mg", "denatonium benzoate, USP"], [200, "ml", "5 % salt (NaCl) solution"]], "Dissolve the denatonium benzoate in the salt solution.", part4, "[M]"),
];

/** @param {number} i */
const textOf = (i) => (recipes[i] ? recipeText(recipes[i]) : "");

/** @param {string} id @param {Partial<import("./api.js").Solution>} over @returns {import("./api.js").Solution} */
function batch(id, over) {
  return { ...empty.solution, id, expired: false, who: "Oda Fennimore", recipe: textOf(2), source: recipes[2]?.source ?? "", ...over };
}
/** @param {string} id @param {Partial<import("./api.js").Nebuliser>} over @returns {import("./api.js").Nebuliser} */
export function aNebuliser(id, over) {
  return { ...empty.nebuliser, id, solution: "", filled: "", squeezes: 0, checked: "", good: false, good_at: "", stale_in_s: null, ...over };
}

/** @type {import("./api.js").Kit} */
export const kit = {
  hoods: [
    { id: "hood-a", mark: "A", across_mm: 305, tall_mm: 356, gone: false },
    { id: "hood-b", mark: "B", across_mm: 380, tall_mm: 420, gone: false },
    { id: "hood-c", mark: "C", across_mm: 0, tall_mm: 0, gone: false },
  ],
  nebulisers: [
    aNebuliser("w1", { mark: "W1", role: "weak", solution: "b-w-11", filled: "2026-09-14T08:05:00+02:00", squeezes: 63, checked: "2026-09-14T08:09:00+02:00", good: true, good_at: "2026-09-14T08:09:00+02:00", stale_in_s: 8940 }),
    aNebuliser("s1", { mark: "S1", role: "strong", solution: "b-s-07", filled: "2026-09-14T06:45:00+02:00", squeezes: 412, checked: "2026-09-14T06:50:00+02:00", good: true, good_at: "2026-09-14T06:50:00+02:00", stale_in_s: 690 }),
    aNebuliser("s2", { mark: "S2", role: "strong" }),
  ],
  solutions: [
    batch("b-w-11", { strength: "weak", lot: "W-11", made: "2026-09-01", expires: "2026-10-01" }),
    batch("b-s-07", { strength: "strong", lot: "S-07", made: "2026-09-01", expires: "2026-10-01", recipe: textOf(3), source: recipes[3]?.source ?? "" }),
    batch("b-s-04", { strength: "strong", lot: "S-04", made: "2026-06-01", expires: "2026-08-31", expired: true, recipe: textOf(3), source: recipes[3]?.source ?? "" }),
    batch("b-x-02", { agent: "sweet", strength: "strong", lot: "X-02", made: "2026-09-02", expires: "2026-12-01", recipe: textOf(1), source: recipes[1]?.source ?? "" }),
  ],
};

/** @type {import("./api.js").Kit} */
export const calmKit = { ...kit, hoods: kit.hoods.slice(0, 1), nebulisers: kit.nebulisers.slice(0, 2).map((n) => ({ ...n, stale_in_s: 8940, filled: "2026-09-14T08:05:00+02:00", checked: "2026-09-14T08:09:00+02:00" })) };

/** @type {import("./api.js").Sweep} */
export const sweep = {
  nebuliser: "s1", since: "2026-09-14T06:50:00+02:00", people: ["p-7kd20f31", "p-5f8n3k6j"],
  runs: [aRun("r000051", "p-7kd20f31", "2026-09-14T07:20:00+02:00", "pass"), aRun("r000052", "p-5f8n3k6j", "2026-09-14T07:52:00+02:00", "fail", { reason: "tasted" }), aRun("r000053", "p-5f8n3k6j", "2026-09-14T08:31:00+02:00", "pass", { size: "large" })],
};
export const sweepNames = { "p-7kd20f31": "Ilse Brandvold", "p-5f8n3k6j": "ليلى حداد" };

/** @type {import("./api.js").Preview} */
export const preview = {
  token: "t-1", columns: ["Nachname, Vorname", "Personalnr.", "Beruf", "Maske", "Geburtstag"], encoding: "windows-1252", delimiter: ";", sheets: [], sheet: "",
  guess: { name: 0, number: 1, job: 2, facepieces: 3 }, count: 157,
  rows: [
    ["Brandvold, Ilse", "H-0412", "Steinmetz", "Corrie Half 2 medium", "03.05.1988"], ["Müller-Àvila, Jörg", "H-0533", "Polier", "Dunmore Fold P3", "11.12.1975"],
    ["Wójcik, Żaneta", "H-0534", "Säger", "Corrie Half 2 large", "29.01.1991"], ["", "", "Fahrer", "Dunmore Fold P3", "17.07.1969"],
  ],
};
/** @type {import("./api.js").Imported} */
export const trial = { new: 41, changed: 6, same: 108, refused: [{ row: 5, why: "there is neither a name nor a company number" }, { row: 88, why: 'the facepiece "Corry Half 2 medium" is not known; enter it first' }] };

/** @param {string} person @param {string} name @param {Partial<import("./api.js").Expected>} over @returns {import("./api.js").Expected} */
function comes(person, name, over) {
  return { person, name, number: "", listed: false, place: 0, due: dueList.filter((d) => d.person === person), state: "waiting", stage: "", run: "", outcome: "", slot_at: "", stop_eating: "", ...over };
}

/** @type {import("./api.js").Day} */
export const day = {
  day: today, waiting: 3, more: false, next_free: "2026-09-14T10:20:00+02:00",
  expected: [
    comes("p-c44w1t8e", "Marit Quayle", { state: "done", run: "r000060", outcome: "pass", due: [] }), comes("p-7kd20f31", "Ilse Brandvold", { state: "in_test", stage: "donning", run: "r000061" }),
    comes("p-0m3x9a2c", "Tomasz Okonjo", { state: "again", run: "r000059", outcome: "fail", slot_at: "2026-09-14T10:20:00+02:00", stop_eating: "2026-09-14T10:05:00+02:00" }),
    comes("p-9q2b7v5h", "Σοφία Παπαδάκη", { listed: true, place: 1, slot_at: "2026-09-14T10:42:00+02:00", stop_eating: "2026-09-14T10:27:00+02:00" }),
    comes("p-5f8n3k6j", "ليلى حداد", { slot_at: "2026-09-14T11:04:00+02:00", stop_eating: "2026-09-14T10:49:00+02:00" }),
  ],
  end_of_day: [
    { what: "mist_check", id: "s1", name: "S1" }, { what: "rinse", id: "w1", name: "W1" }, { what: "rinse", id: "s1", name: "S1" }, { what: "call_back", id: "p-5f8n3k6j", name: "ليلى حداد" }, { what: "back_up", id: "", name: "" },
  ],
};
/** @type {import("./api.js").Day} */
export const quietDay = { day: today, expected: [], waiting: 0, more: false, next_free: "", end_of_day: [] };
/** @type {import("./api.js").Plan} */
export const plan = {
  per_day: { median: 15, low: 12, high: 18 }, finish_s: { median: 26_400, low: 23_100, high: 31_200 }, past: 212,
  steps: [
    { step: "ready", seconds: 180, source: "assumed: questions, explanation, nebuliser", mark: "[H]" }, { step: "screening", seconds: 95, source: "past runs", mark: "" },
    { step: "clearing", seconds: 240, source: "past runs", mark: "" }, { step: "donning", seconds: 372, source: "past runs", mark: "" }, { step: "running", seconds: 420, source: "the rules", mark: "[1]" },
  ],
  said: ["One tester; no breaks; a hood is one person's from the sensitivity test to the end."],
};
