// SPDX-License-Identifier: Apache-2.0

// Sample snapshots and a sample record of an invented place, one for every
// state of a screen: for states.html and for tests. Nobody in it is real.

/** @typedef {import("./contract.js").Snapshot} Snapshot */
/** @typedef {import("./contract.js").Run} Run */
/** @typedef {import("./contract.js").Dose} Dose */

const exercises = ["normal_breathing", "deep_breathing", "head_side_to_side", "head_up_and_down", "talking", "bending_over", "normal_breathing_again"];
const questions = ["nothing_but_water", "no_hair_at_seal", "cleared", "no_known_reaction", "facepiece_as_at_work", "weak_nebuliser"];

/** @typedef {import("./contract.js").Inputs} Inputs */

/**
 * A contact on a wire.
 * @param {string} line
 * @param {boolean} closed
 * @param {number} presses
 * @param {Partial<import("./contract.js").Line>} [over]
 * @returns {import("./contract.js").Line}
 */
export function line(line, closed, presses, over = {}) {
  return { line, source: `contact ${line} on GPIO${wired[line] ?? 17}`, closed, edges: presses * 5, rejected: presses * 3, presses, doubtful: 0, quiet_ms: 73_000, ...over };
}

/** Where the contacts of the sample are wired. @type {Record<string, number>} */
const wired = { squeeze: 17, step: 27, taste_no: 22, taste_nc: 23, taste: 22 };

/** The contacts of a board at rest. */
export const atRest = [line("squeeze", false, 214, { doubtful: 2, quiet_ms: 4200 }), line("step", false, 31), line("taste_no", false, 9), line("taste_nc", true, 0, { edges: 45 })];

/**
 * @param {Partial<Inputs>} [over]
 * @returns {Inputs}
 */
export function board(over = {}) {
  return {
    board: "board A", supervised: true, cable: "", squeeze: false, step: false, report: false, noise: 0, lines: atRest, check: null, latency: null, learn: "", learned: "", ...over,
  };
}

/** @type {import("./contract.js").Clock} */
export const clockSet = { wall: "2026-09-14T09:41:07+02:00", quality: "confirmed", trusted: true, steps: 0 };
/** @type {import("./contract.js").Clock} */
export const clockUnset = { wall: "2026-01-01T00:03:12+01:00", quality: "unset", trusted: false, steps: 0 };

/**
 * @param {Partial<Snapshot>} over
 * @returns {Snapshot}
 */
export function snapshot(over) {
  return {
    type: "snapshot", number: 7, fence: 3, driver: "page-1", watchers: 2, speed: 1, inputs: board(), sound: "", volume: 80, muted: false, storage: "", clock: clockSet, lag_ms: 0, run: null,
    parked: [], pairing: "",
    ...over,
  };
}

/**
 * A dose; the windows are those of the published rule sets.
 * @param {number} n
 * @param {number} required
 * @param {number} given
 * @param {Partial<Dose>} [over]
 * @returns {Dose}
 */
export function dose(n, required, given, over = {}) {
  const due = n * 30_000;
  return {
    n, required, given, extra: 0, doubtful: 0, due_ms: n === 0 ? 0 : due, open_ms: n === 0 ? 0 : due - 5000, shut_ms: n === 0 ? 0 : due + 25_000,
    remarks: [], ...over,
  };
}

/**
 * @param {Run["stage"]} stage
 * @param {Partial<Run>} [over]
 * @returns {Run}
 */
export function run(stage, over = {}) {
  return {
    run: "r-20260914-07", stage, stage_ms: 12_000, wearer: "Ilse Brandvold", facepiece: "Corrie half mask, medium, two P3 filters", agent: "bitter",
    rules: "US rule", prevails: "Local law and a licensed or competent person always prevail over this tool.", tester: "Oda Fennimore",
    questions: questions.map((id) => ({ id, answered: true, yes: true })), kit: null, blocked: "", wait_ms: 0, need_ms: 0,
    screening: { squeezes: 0, counted: 0, most: 30, bin: 0 }, dose: null, initial: null, top_ups: [], run_ms: null, ticking: false,
    length_ms: 420_000, exercises, exercise_ms: 60_000, exercise: -1, squeezes_ms: [], half_life_ms: 30_000, notes: [], faults: [],
    verdict: null, ending: false, practice: "", code: "", paired: 0, name_said: "", wearer_language: "", drill: null, ...over,
  };
}

/**
 * A run whose clock runs: all top-ups up to an instant given, the open one in part.
 * @param {number} bin
 * @param {number} atMs
 * @param {number} given of the dose that is open
 * @param {Partial<Run>} [over]
 * @returns {Run}
 */
export function running(bin, atMs, given, over = {}) {
  /** @type {number[]} */
  const squeezes = [];
  for (let i = 0; i < bin; i++) squeezes.push((i - bin + 1) * 800);
  const ups = Array.from({ length: 13 }, (_, k) => {
    const n = k + 1;
    const d = dose(n, bin / 2, 0);
    d.given = atMs >= d.shut_ms ? d.required : atMs >= d.open_ms ? given : 0;
    for (let i = 0; i < d.given; i++) squeezes.push(Math.min(atMs, n * 30_000 + 800 + i * 1100));
    return d;
  });
  return run("running", {
    screening: { squeezes: bin - 3, counted: bin - 3, most: 30, bin }, initial: dose(0, bin, bin), top_ups: ups, run_ms: atMs, ticking: true,
    dose: ups.find((d) => d.open_ms <= atMs && atMs < d.shut_ms) ?? null, exercise: Math.floor(atMs / 60_000), squeezes_ms: squeezes, ...over,
  });
}

const binned = { squeezes: 7, counted: 7, most: 30, bin: 10 };
/** Of that bin, before any. */
const comingUps = Array.from({ length: 13 }, (_, k) => dose(k + 1, 5, 0));
const practice = "simulated board";

/**
 * @param {string} outcome
 * @param {string} reason
 * @param {string} next
 * @param {number} atMs
 * @param {string} [proof]
 */
function over(outcome, reason, next, atMs, proof = "") {
  return running(10, atMs, 2, { stage: "over", ticking: false, verdict: { outcome, reason, next, proof } });
}

const short = over("not_valid", "top_up_short", "again", 175_000);
short.top_ups = short.top_ups.map((d) => (d.n === 5 ? { ...d, given: 3 } : d.n > 5 ? { ...d, given: 0 } : d));
const late = running(10, 214_000, 2);
late.top_ups = late.top_ups.map((d) => (d.n === 3 ? { ...d, remarks: ["late"] } : d.n === 5 ? { ...d, extra: 2, remarks: ["hurried", "extra"] } : d));

const aside = run("donning", { run: "r-20260914-05", wearer: "Tomasz Okonjo", screening: binned, wait_ms: 192_000, need_ms: 300_000, blocked: "parked" });
const asideReady = run("donning", { run: "r-20260914-06", wearer: "Marit Quayle", screening: binned, need_ms: 300_000, blocked: "parked" });
const asideClearing = run("clearing", { run: "r-20260914-04", wearer: "Rhodri Vance", screening: binned, top_ups: comingUps, stage_ms: 95_000 });

/** Every state of the Bench, by name. @type {Record<string, Snapshot>} */
export const states = {
  "no-run": snapshot({}),
  "no-run-clock-unset": snapshot({ clock: clockUnset }),
  "no-run-missing": snapshot({ inputs: board({ missing: "pedal for squeeze: the pedal is unplugged" }) }),
  "no-run-watching": snapshot({ driver: "page-2" }),
  "ready-open": snapshot({
    run: run("ready", {
      questions: questions.map((id, i) => ({ id, answered: i < 4, yes: i < 3 })), kit: { role: "weak", mark: "", lot: "" }, blocked: "questions_open", wait_ms: 420_000, need_ms: 900_000,
    }),
  }),
  ready: snapshot({ run: run("ready", { need_ms: 900_000, code: "4711" }) }),
  "ready-uncleared": snapshot({ run: run("ready", { need_ms: 900_000, blocked: "questions_open", code: "4711", uncleared: true, questions: questions.map((id) => ({ id, answered: id !== "cleared", yes: id !== "cleared" })) }) }),
  paired: snapshot({ run: run("ready", { need_ms: 900_000, code: "4711", paired: 1, name_said: "yes", wearer_language: "pl" }) }),
  "wrong-person": snapshot({ run: run("ready", { need_ms: 900_000, code: "4711", paired: 1, name_said: "no", blocked: "wrong_person" }) }),
  "screening-first": snapshot({ run: run("screening") }),
  screening: snapshot({ run: run("screening", { screening: { squeezes: 17, counted: 18, most: 30, bin: 0 } }) }),
  "screening-full": snapshot({ run: run("screening", { screening: { squeezes: 30, counted: 30, most: 30, bin: 0 }, wait_ms: 7300, need_ms: 10_000 }) }),
  clearing: snapshot({ run: run("clearing", { screening: binned, top_ups: comingUps, stage_ms: 95_000 }) }),
  donning: snapshot({ run: run("donning", { screening: binned, top_ups: comingUps, wait_ms: 192_000, need_ms: 300_000, blocked: "not_worn_long_enough" }) }),
  "donning-unproven": snapshot({ run: run("donning", { screening: binned, top_ups: comingUps, wait_ms: 192_000, need_ms: 300_000, blocked: "button_not_proven" }) }),
  donned: snapshot({ run: run("donning", { screening: binned, top_ups: comingUps, need_ms: 300_000 }) }),
  parked: snapshot({ parked: [aside, asideReady] }),
  "parked-open": snapshot({ parked: [aside, asideReady, asideClearing], run: run("donning", { screening: binned, top_ups: comingUps, wait_ms: 262_000, need_ms: 300_000, blocked: "not_worn_long_enough", code: "2204" }) }),
  "parked-clearing": snapshot({ parked: [asideReady], run: run("clearing", { screening: binned, top_ups: comingUps, stage_ms: 41_000, wearer_language: "ar" }) }),
  "parked-running": snapshot({ parked: [aside, asideReady, asideClearing], run: running(10, 101_000, 5) }),
  drill: snapshot({ run: run("screening", { practice: "drill", screening: { squeezes: 4, counted: 4, most: 30, bin: 0 }, drill: { said: [{ at_ms: 41_000, what: "donned", text: "" }, { at_ms: 66_000, what: "says_taste", text: "" }], asks: "mist" } }) }),
  "drill-running": snapshot({ parked: [], run: { ...late, practice: "drill", drill: { said: [{ at_ms: 402_000, what: "touches_facepiece", text: "" }], asks: "" } } }),
  dosing: snapshot({
    run: run("dosing", { screening: binned, dose: dose(0, 10, 4), initial: dose(0, 10, 4), top_ups: comingUps }),
  }),
  due: snapshot({ run: late }),
  "due-practice": snapshot({ practice, run: late, inputs: board({ board: "sim" }) }),
  waiting: snapshot({ run: running(10, 101_000, 5) }),
  soon: snapshot({ run: running(20, 147_000, 0) }),
  "due-thirty": snapshot({ run: running(30, 338_000, 6) }),
  last: snapshot({ run: running(10, 402_000, 5) }),
  unsaved: snapshot({ lag_ms: 1800, sound: "sound lost: exit status 1; it is tried again", run: running(10, 101_000, 5, { notes: [{ what: "press step", why: "not_in_this_stage", ago_ms: 900 }] }) }),
  watching: snapshot({ driver: "page-2", run: late }),
  proving: snapshot({ run: running(10, 420_000, 0, { stage: "proving_button", ticking: false, wait_ms: 14_000, need_ms: 20_000 }) }),
  ending: snapshot({ run: running(10, 420_000, 0, { stage: "over", ticking: false, ending: true }) }),
  pass: snapshot({ run: over("pass", "", "proof", 420_000) }),
  "pass-proved": snapshot({ run: over("pass", "", "nothing", 420_000, "tasted") }),
  "proving-mist": snapshot({ run: running(10, 420_000, 0, { stage: "proving_mist", ticking: false, verdict: { outcome: "pass", reason: "", next: "proof", proof: "" } }) }),
  fail: snapshot({ run: over("fail", "tasted", "other_facepiece", 263_000) }),
  "not-valid": snapshot({ run: short }),
  "not-noted": snapshot({ run: over("not_valid", "journal_failed", "again", 175_000), storage: "unnoted" }),
  "cannot-taste": snapshot({
    run: run("over", { screening: { squeezes: 30, counted: 30, most: 30, bin: 0 }, verdict: { outcome: "cannot_taste", reason: "no_taste_by_30", next: "other_agent", proof: "" } }),
  }),
};

/**
 * A guided check at a request, or ended.
 * @param {string} ask
 * @param {Record<string, string>} found lines by finding
 * @returns {import("./contract.js").Check}
 */
export function check(ask, found = {}) {
  return { ask, found: Object.keys(found), lines: Object.values(found), passed: ask === "" && Object.keys(found).length === 0, left_ms: ask === "" ? 0 : 16_400 };
}

const closed = (/** @type {string} */ name) => atRest.map((l) => (l.line === name ? { ...l, closed: true, quiet_ms: 300 } : l));
/** @type {import("./contract.js").Timing} */
export const timed = { asked: 12, of: 12, done: true, why: "", mid_ms: 214.4, least_ms: 171.2, spread_ms: 46.1, when: "2026-09-14T09:38:20+02:00" };

/**
 * The calibration of a bulb sensor.
 * @param {import("./contract.js").Bulb["stage"]} stage
 * @param {Partial<import("./contract.js").Bulb>} [over]
 * @returns {import("./contract.js").Bulb}
 */
export function bulb(stage, over = {}) {
  return { stage, done: 0, of: stage === "" ? 0 : 10, left_ms: stage === "rest" || stage === "squeeze" ? 108_000 : 0, why: "", known: true, when: "2026-09-07T08:12:40+02:00", of_before: 0, ...over };
}
/** A board whose bulb has a sensor. @param {import("./contract.js").Bulb} b @param {Partial<Inputs>} [over] */
const sensed = (b, over = {}) => snapshot({ inputs: board({ check: check(""), lines: atRest.map((l) => (l.line === "squeeze" ? { ...l, source: "bulb sensor" } : l)), bulb: b, ...over }) });
const uncounted = "bulb sensor: being calibrated: squeezes do not count";

const crossed = { moved_instead: "squeeze,step", pair_half: "taste_no,taste_nc" };

/** Every state of the page Inputs, by name. @type {Record<string, Snapshot>} */
export const inputStates = {
  good: snapshot({ inputs: board({ check: check(""), latency: timed }) }),
  unchecked: snapshot({ practice, inputs: board({ board: "sim", lines: atRest.map((l) => ({ ...l, source: "simulated board", edges: 0, rejected: 0, presses: 0, doubtful: 0 })) }) }),
  "cable-open": snapshot({ inputs: board({ cable: "cable_open", check: check(""), lines: atRest.map((l) => (l.line === "taste_nc" ? { ...l, closed: false, quiet_ms: 900 } : l)) }) }),
  unplugged: snapshot({ inputs: board({ missing: "pedal for squeeze: the pedal is unplugged", check: check(""), lines: atRest.map((l) => (l.line === "squeeze" ? { ...l, source: "pedal for squeeze" } : l)) }) }),
  "check-rest": snapshot({ inputs: board({ check: check("rest") }) }),
  "check-asking": snapshot({ inputs: board({ squeeze: true, check: check("let_squeeze"), lines: closed("squeeze") }) }),
  "check-finding": snapshot({ inputs: board({ check: check("press_button", { moved_instead: "squeeze,step", moved_too: "step,taste_no" }) }) }),
  "check-failed": snapshot({ inputs: board({ check: check("", crossed) }) }),
  "check-stopped": snapshot({ inputs: board({ check: { ...check(""), passed: false } }) }),
  latency: snapshot({ inputs: board({ check: check(""), latency: { ...timed, asked: 6, done: false, when: "" } }) }),
  "latency-late": snapshot({ inputs: board({ check: check(""), latency: { ...timed, mid_ms: 468 } }) }),
  "latency-none": snapshot({ inputs: board({ check: check(""), latency: { ...timed, why: "too_few" } }) }),
  learn: snapshot({ inputs: board({ learn: "squeeze" }) }),
  learned: snapshot({ inputs: board({ check: check(""), learned: "key 48 of Trill Foot (1a2b:3c4d) is squeeze" }) }),
  "bulb-new": sensed(bulb("", { known: false, when: "" }), { missing: "bulb sensor: not calibrated: squeeze the bulb flat ten times on the Inputs page" }),
  "bulb-known": sensed(bulb("")),
  "bulb-rest": sensed(bulb("rest"), { missing: uncounted }),
  "bulb-squeeze": sensed(bulb("squeeze", { done: 4, left_ms: 83_200 }), { missing: uncounted }),
  "bulb-done": sensed(bulb("done", { done: 10, when: "2026-09-14T09:40:31+02:00", of_before: 103 })),
  "bulb-less": sensed(bulb("done", { done: 10, when: "2026-09-14T09:40:31+02:00", of_before: 64 })),
  "bulb-unkept": sensed(bulb("unkept", { done: 10, when: "2026-09-14T09:40:31+02:00", why: "save the bulb's calibration: no space left on device" })),
  "bulb-refused": sensed(bulb("refused", { done: 10, why: "the ten squeezes disagree: squeeze 4 (-38 %), 7 (-29 %) away from the others; squeeze flat each time" })),
  "bulb-left": sensed(bulb("refused", { done: 6, why: "driver_gone" })),
  "clock-unset": snapshot({ clock: clockUnset, inputs: board({ check: check("") }) }),
  "run-open": snapshot({ run: late, inputs: board({ squeeze: true, lines: closed("squeeze"), check: check("") }) }),
  single: snapshot({ inputs: board({ supervised: false, check: check(""), lines: [...atRest.slice(0, 2), line("taste", false, 4)] }) }),
  watching: snapshot({ driver: "page-2" }),
};

/** @type {import("./contract.js").Box} */
export const box = {
  parts: [
    { name: "contact squeeze on GPIO17", state: "loaded", reason: "", lines: ["squeeze"] },
    { name: "pedal for step", state: "loaded", reason: "", lines: ["step"] },
    { name: "bulb sensor", state: "absent", reason: "none is configured", lines: [] },
    { name: "sound", state: "loaded", reason: "volume 80 %", lines: [] },
    { name: "sound level", state: "failed", reason: "the sound card is not there: hw:9", lines: [] },
  ],
  time_source: "kernel time", volts: "sound", heat: 48.2, heat_high: false, store_file: "/var/lib/tallyhood/store", store_free: 11_340_000_000, store_of: 29_100_000_000,
  write_ms: 4.2, practice: "", version: "0.4.0",
};
/** @type {import("./contract.js").Box} */
export const poorBox = { ...box, volts: "low", heat: 83.5, heat_high: true, store_free: 120_000_000, write_ms: 412 };
/** @type {import("./contract.js").Box} */
export const silentBox = { ...box, volts: "", heat: null, write_ms: null, time_source: "arrival time" };

/** @type {import("./contract.js").Choices} */
export const choices = {
  people: [{ id: "p1", label: "Ilse Brandvold" }, { id: "p2", label: "Tomasz Okonjo" }, { id: "p3", label: "Marit Quayle" }],
  facepieces: [
    { id: "f1", label: "Corrie half mask, medium, two P3 filters" },
    { id: "f2", label: "Aldous full face mask, large", refused: { "uk-hse": "UK guidance does not allow the taste test for a full face mask. Use a quantitative test." } },
  ],
  rules: [{ id: "us-osha", label: "US rule" }, { id: "uk-hse", label: "UK guidance" }],
  agents: ["sweet", "bitter"],
  testers: ["Oda Fennimore"], hoods: [],
};
/** Hoods to choose from: as published, too large, not measured. @type {import("./contract.js").Hood[]} */
export const hoods = [
  { id: "h1", mark: "H1", across_mm: 305, tall_mm: 356, oversized: false },
  { id: "h2", mark: "H2", across_mm: 400, tall_mm: 450, oversized: true },
  { id: "h3", mark: "H3", across_mm: 0, tall_mm: 0, oversized: false },
];

/** What First run knows before the box has answered. @type {import("./state-start.js").Known} */
export const nothingKnown = { choices: null, kit: null, drills: null };

/**
 * Kit with nebulisers of these roles, filled and seen to give mist.
 * @param {string[]} roles
 * @returns {import("./api.js").Kit}
 */
export function kitOf(...roles) {
  return {
    hoods: [], solutions: [],
    nebulisers: roles.map((role) => ({
      id: `n-${role}`, mark: `bitter ${role} 1`, role, agent: "bitter", gone: false, solution: "s1", filled: "2026-09-14T08:32:00+02:00", squeezes: 12,
      checked: "2026-09-14T08:35:00+02:00", good: true, good_at: "2026-09-14T08:35:00+02:00", stale_in_s: 9000,
    })),
  };
}

/**
 * A record of the sample run.
 * @param {string} practice
 * @returns {import("./state-record.js").Full}
 */
export function record(practice) {
  const done = running(10, 420_000, 0);
  return {
    run: done.run, wearer: done.wearer, facepiece: done.facepiece, tester: done.tester, opened: "2026-09-14T09:41:07+02:00", practice,
    squeezes_s: done.squeezes_ms.map((ms) => ms / 1000), hash: "9f2c61d0b7e34a5586a0c1f7d2e98b4431aa07c5e6d9f8b2c3a415263748596a", number: 41,
    prevails: done.prevails, rules_name: "US rule: 29 CFR 1910.134, Appendix A",
    record: {
      schema: "tallyhood.record/1", outcome: "pass", reason: "", rules: "us-osha", agent: "bitter", screening: { squeezes: 7, doubtful: 0, bin: 10 },
      fit: {
        initial: { required: 10, given: 10, doubtful: 0, added: 0, taken: 0, remarks: [] },
        top_ups: done.top_ups.map((d) => ({
          n: d.n, due_s: d.due_ms / 1000, required: 5, given: 5, extra: d.n === 5 ? 1 : 0, doubtful: 0, added: d.n === 9 ? 1 : 0, taken: 0,
          first_s: d.due_ms / 1000 + 0.8, done_s: d.due_ms / 1000 + 5.2, remarks: d.n === 5 ? ["extra"] : [],
        })),
        exercises: exercises.map((id, i) => ({ id, start_s: i * 60, end_s: i * 60 + 60 })),
        taste_s: null, taste_exercise: null, squeezes_total: 76, duration_s: 420, level: { mean: 0.72, min: 0.48 },
      },
      inputs: { squeeze: 83, taste: 1, step: 3, noise_edges: 2, supervised: true, faults: [] },
    },
  };
}
