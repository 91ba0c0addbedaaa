// SPDX-License-Identifier: Apache-2.0

// Sample snapshots and a sample record of an invented place, one for every
// state of a screen: for states.html and for tests. Nobody in it is real.

/** @typedef {import("./contract.js").Snapshot} Snapshot */
/** @typedef {import("./contract.js").Run} Run */
/** @typedef {import("./contract.js").Dose} Dose */

const exercises = ["normal_breathing", "deep_breathing", "head_side_to_side", "head_up_and_down", "talking", "bending_over", "normal_breathing_again"];
const questions = ["nothing_but_water", "no_hair_at_seal", "cleared", "no_known_reaction", "facepiece_as_at_work", "weak_nebuliser"];

/**
 * @param {Partial<Snapshot>} over
 * @returns {Snapshot}
 */
export function snapshot(over) {
  return {
    type: "snapshot", number: 7, fence: 3, driver: "page-1", watchers: 2, speed: 1,
    inputs: { board: "board A", supervised: true, cable: "", squeeze: false, step: false, report: false, noise: 0 },
    sound: "", storage: "", lag_ms: 0, run: null, ...over,
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
    questions: questions.map((id) => ({ id, answered: true, yes: true })), blocked: "", wait_ms: 0, need_ms: 0,
    screening: { squeezes: 0, counted: 0, most: 30, bin: 0 }, dose: null, initial: null, top_ups: [], run_ms: null, ticking: false,
    length_ms: 420_000, exercises, exercise_ms: 60_000, exercise: -1, squeezes_ms: [], half_life_ms: 30_000, notes: [], faults: [],
    verdict: null, ending: false, ...over,
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

/** Every state of the Bench, by name. @type {Record<string, Snapshot>} */
export const states = {
  "no-run": snapshot({}),
  "no-run-watching": snapshot({ driver: "page-2" }),
  "ready-open": snapshot({
    run: run("ready", {
      questions: questions.map((id, i) => ({ id, answered: i < 4, yes: i < 3 })), blocked: "questions_open", wait_ms: 420_000, need_ms: 900_000,
    }),
  }),
  ready: snapshot({ run: run("ready", { need_ms: 900_000 }) }),
  "screening-first": snapshot({ run: run("screening") }),
  screening: snapshot({ run: run("screening", { screening: { squeezes: 17, counted: 18, most: 30, bin: 0 } }) }),
  "screening-full": snapshot({ run: run("screening", { screening: { squeezes: 30, counted: 30, most: 30, bin: 0 }, wait_ms: 7300, need_ms: 10_000 }) }),
  clearing: snapshot({ run: run("clearing", { screening: binned, stage_ms: 95_000 }) }),
  donning: snapshot({ run: run("donning", { screening: binned, wait_ms: 192_000, need_ms: 300_000, blocked: "not_worn_long_enough" }) }),
  "donning-unproven": snapshot({ run: run("donning", { screening: binned, wait_ms: 192_000, need_ms: 300_000, blocked: "button_not_proven" }) }),
  donned: snapshot({ run: run("donning", { screening: binned, need_ms: 300_000 }) }),
  dosing: snapshot({
    run: run("dosing", { screening: binned, dose: dose(0, 10, 4), initial: dose(0, 10, 4), top_ups: Array.from({ length: 13 }, (_, k) => dose(k + 1, 5, 0)) }),
  }),
  due: snapshot({ run: late }),
  "due-practice": snapshot({ practice, run: late, inputs: { board: "sim", supervised: true, cable: "", squeeze: false, step: false, report: false, noise: 0 } }),
  waiting: snapshot({ run: running(10, 101_000, 5) }),
  soon: snapshot({ run: running(20, 147_000, 0) }),
  "due-thirty": snapshot({ run: running(30, 338_000, 6) }),
  last: snapshot({ run: running(10, 402_000, 5) }),
  unsaved: snapshot({ lag_ms: 1800, sound: "the player stopped", run: running(10, 101_000, 5, { notes: [{ what: "press step", why: "not_in_this_stage", ago_ms: 900 }] }) }),
  watching: snapshot({ driver: "page-2", run: late }),
  proving: snapshot({ run: running(10, 420_000, 0, { stage: "proving_button", ticking: false, wait_ms: 14_000, need_ms: 20_000 }) }),
  ending: snapshot({ run: running(10, 420_000, 0, { stage: "over", ticking: false, ending: true }) }),
  pass: snapshot({ run: over("pass", "", "proof", 420_000) }),
  "pass-proved": snapshot({ run: over("pass", "", "nothing", 420_000, "tasted") }),
  "proving-mist": snapshot({ run: running(10, 420_000, 0, { stage: "proving_mist", ticking: false, verdict: { outcome: "pass", reason: "", next: "proof", proof: "" } }) }),
  fail: snapshot({ run: over("fail", "tasted", "other_facepiece", 263_000) }),
  "not-valid": snapshot({ run: short }),
  "cannot-taste": snapshot({
    run: run("over", { screening: { squeezes: 30, counted: 30, most: 30, bin: 0 }, verdict: { outcome: "cannot_taste", reason: "no_taste_by_30", next: "other_agent", proof: "" } }),
  }),
};

/** @type {import("./contract.js").Choices} */
export const choices = {
  people: [{ id: "p1", label: "Ilse Brandvold" }, { id: "p2", label: "Tomasz Okonjo" }, { id: "p3", label: "Marit Quayle" }],
  facepieces: [
    { id: "f1", label: "Corrie half mask, medium, two P3 filters" },
    { id: "f2", label: "Aldous full face mask, large", refused: { "uk-hse": "UK guidance does not allow the taste test for a full face mask. Use a quantitative test." } },
  ],
  rules: [{ id: "us-osha", label: "US rule" }, { id: "uk-hse", label: "UK guidance" }],
  agents: ["sweet", "bitter"],
  testers: ["Oda Fennimore"],
};

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
