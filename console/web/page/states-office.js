// SPDX-License-Identifier: Apache-2.0

// Every state of the pages People, Facepieces, Kit and Day from samples: a
// reference to look at. ?only=NAME shows one alone.

import { html, render } from "./vendor/lit-html.js";
import { speak } from "./lang.js";
import * as s from "./samples-office.js";
import { root } from "./screen.js";
import { showing } from "./states-show.js";
import { day } from "./view-day.js";
import { facepieces } from "./view-facepieces.js";
import { importing } from "./view-import.js";
import { kit } from "./view-kit.js";
import { people } from "./view-people.js";
import { person } from "./view-person.js";

await speak(["run", "office"]);

const idle = { setBy() {}, settle() {}, takeBack() {}, undo() {} };
const act = {
  ...idle, search() {}, more() {}, mode() {}, save() {}, trigger() {}, clear() {}, left() {}, type() {}, erase() {}, choose() {}, reread() {}, map() {}, tryIt() {}, doIt() {}, again() {},
  edit() {}, cleaned() {}, showGone() {}, go() {}, fill() {}, good() {}, sweep() {}, bad() {}, batch() {}, reckon() {}, back() {}, onDay() {}, list() {},
};
/** @param {Partial<import("./office.js").Office>} [over] @returns {import("./office.js").Office} */
const o = (over = {}) => ({ by: "Oda Fennimore", byMissing: false, problem: "", said: "", undo: null, pending: null, busy: "", done: "", working: false, practice: "", ...over });

/** @returns {Record<string, () => unknown>} */
export function screens() {
  /** @param {Partial<import("./view-people.js").Ui>} over @param {Partial<import("./office.js").Office>} [office] */
  const list = (over, office) => () => people(o(office), { query: "", people: null, more: false, searching: false, due: s.dueList, bare: [], bareMore: false, nobody: false, facepieces: s.facepieces, today: s.today, ...over }, act);
  const ilse = s.people[0] ?? null;
  /** @param {Partial<import("./view-person.js").Ui>} over @param {Partial<import("./office.js").Office>} [office] */
  const one = (over, office) => () => person(o(office), { person: ilse, runs: s.runs, mode: "look", name: "", typed: "", facepieces: s.facepieces, rules: s.rules, today: s.today, on: s.today, listed: false, ...over }, act);
  /** @param {Partial<import("./view-import.js").Ui>} over @param {Partial<import("./office.js").Office>} [office] */
  const bring = (over, office) => () => importing(o(office), { file: "belegschaft.csv", preview: s.preview, mapping: s.preview.guess, trial: null, done: null, ...over }, act);
  /** @param {Partial<import("./view-facepieces.js").Ui>} over @param {Partial<import("./office.js").Office>} [office] */
  const faces = (over, office) => () => facepieces(o(office), { all: s.facepieces, edit: null, gone: false, rules: s.rules, ...over }, act);
  /** @param {Partial<import("./view-kit.js").Ui>} over @param {Partial<import("./office.js").Office>} [office] */
  const kits = (over, office) => () => kit(o(office), { kit: s.kit, ageMs: 0, doing: { do: "look" }, recipes: s.recipes, gone: false, today: s.today, ...over }, act);
  /** @param {Partial<import("./view-day.js").Ui>} over @param {Partial<import("./office.js").Office>} [office] */
  const days = (over, office) => () => day(o(office), { day: s.day, plan: s.plan, facepieces: s.facepieces, people: 14, hoods: 2, today: s.today, query: "", matches: null, ...over }, act);
  return {
    "people-due": list({}), "people-found": list({ query: "h-0", people: s.people, more: true }), "people-none": list({ query: "zebedee", people: [] }), "people-empty": list({ due: [], nobody: true }),
    "people-without": list({ due: [], bare: s.people.slice(0, 2).map((p) => ({ ...p, facepieces: [], due: [], tested: [] })), bareMore: true }),
    "people-nobody-due": list({ due: [] }), "people-loading": list({ due: null, nobody: null }), "people-slow": list({ query: "i", people: s.people, searching: true }, { busy: "Searching", working: true }),
    "people-failed": list({ due: null }, { problem: "The box did not answer. Look whether it happened before you try again." }),
    person: one({}), "person-due": one({ person: s.people[4] ?? null, runs: [] }), "person-bare": one({ person: s.people[5] ?? null, runs: [] }), "person-left": one({ person: s.people[6] ?? null, runs: [] }),
    "person-pending": one({}, { pending: { text: "Ilse Brandvold: substantial dental work, 2026-09-14. Every test is due now.", take: "dental work", left: 6 } }),
    "person-saved": one({}, { said: "Saved: job, note.", undo: { text: "Saved: job, note.", take: "job, note of Ilse Brandvold" } }),
    "person-unnamed": one({}, { by: "", byMissing: true }), "person-edit": one({ mode: "edit" }), "person-new": one({ person: null, mode: "new" }), "person-clear": one({ mode: "clear" }),
    "person-erase": one({ mode: "erase" }), "person-erase-ready": one({ mode: "erase", typed: "Ilse Brandvold" }), "person-gone": one({ person: null, mode: "gone" }),
    "import-choose": bring({ file: "", preview: null, mapping: {} }), "import-preview": bring({}), "import-unmapped": bring({ mapping: {} }), "import-trial": bring({ trial: s.trial }), "import-done": bring({ trial: s.trial, done: s.trial }),
    facepieces: faces({}), "facepieces-empty": faces({ all: [] }), "facepieces-edit": faces({ edit: "corrie-half-m" }), "facepieces-new": faces({ edit: "" }),
    "facepieces-pending": faces({}, { pending: { text: "C2 of Corrie Half 2 medium: cleaned now.", take: "cleaning of C2", left: 7 } }),
    kit: kits({}), "kit-calm": kits({ kit: s.calmKit }), "kit-stale": kits({ ageMs: 700_000 }), "kit-empty": kits({ kit: { hoods: [], nebulisers: [], solutions: [] }, recipes: [] }),
    "kit-fill": kits({ doing: { do: "fill", id: "s1", solution: "b-s-07" } }), "kit-fill-none": kits({ doing: { do: "fill", id: "w1", solution: "" }, kit: { ...s.kit, solutions: s.kit.solutions.slice(1) } }),
    "kit-seen": kits({ doing: { do: "seen", id: "s1" } }, { said: "S1 is filled from lot S-07. Now look for mist." }), "kit-bad": kits({ doing: { do: "bad", id: "s1", sweep: s.sweep, names: s.sweepNames } }),
    "kit-bad-none": kits({ doing: { do: "bad", id: "s1", sweep: { nebuliser: "s1", since: "", runs: [], people: [] }, names: {} } }), "kit-recalled": kits({ doing: { do: "recalled", mark: "S1", lot: "", sweep: s.sweep, names: s.sweepNames } }), "kit-another": kits({ doing: { do: "batch", id: "s-strong", form: { agent: "bitter", strength: "weak", lot: "B-12", made: "2026-09-10", expires: "2026-09-24", recipe: "As published.", source: "29 CFR 1910.134 App. A", who: "Agnes Thorley", gone: false }, sweep: s.sweep, names: s.sweepNames } }),
    "kit-hood": kits({ doing: { do: "edit", kind: "hoods", id: "hood-b" } }), "kit-nebuliser": kits({ doing: { do: "edit", kind: "nebulisers", id: "" } }), "kit-batch": kits({ doing: { do: "edit", kind: "solutions", id: "", recipe: 2 } }),
    "kit-refused": kits({ doing: { do: "edit", kind: "nebulisers", id: "" } }, { problem: "Another nebuliser has this mark. The mark is read out before each part of a test, so each needs its own." }),
    "person-listed": one({ listed: true }, { said: "Ilse Brandvold is on the list of 2026-09-14.", undo: { text: "Ilse Brandvold is on the list of 2026-09-14.", take: "", word: "Undo: take Ilse Brandvold off the list of 2026-09-14" } }),
    "day-put-on": days({ query: "bra", matches: [{ id: "p-1", called: "Ilse Brandvold", more: "H-0412, stone saw" }, { id: "p-9q2b7v5h", called: "Σοφία Παπαδάκη", more: "H-0090" }] }), "day-put-nobody": days({ query: "zeb", matches: [] }),
    "day-taken-off": days({}, { said: "x", undo: { text: "Marit Quayle is off the list of 2026-09-14.", take: "", word: "Undo: put Marit Quayle back on the list of 2026-09-14" } }),
    day: days({}), "day-quiet": days({ day: s.quietDay, plan: null }),
  };
}

const place = root();
const only = new URLSearchParams(location.search).get("only");
const all = screens();
const one = only === null ? undefined : all[only];
render(one ? one() : html`<main class="sheet plain states"><h1>Every state of the office</h1><ul>${Object.keys(all).map((name) => html`<li><a class="to" href=${`?only=${name}`}>${name}</a></li>`)}</ul></main>`, place);
showing(["run", "office"], all, place);
