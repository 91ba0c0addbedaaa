// SPDX-License-Identifier: Apache-2.0

// Every state of a review from sample runs: a reference to look at. ?only=NAME
// shows one alone.

import { speak } from "./lang.js";
import { run, running } from "./samples.js";
import { root, size } from "./screen.js";
import { player, readReview, seek } from "./state-review.js";
import { drawing, showing } from "./states-show.js";
import { review } from "./view-review.js";

await speak(["run", "review"]);

/**
 * A run whose clock starts at eight minutes and which ends so.
 * @param {string} outcome @param {string} reason @param {number} endMs on the run clock @param {string} [practice]
 */
function sample(outcome, reason, endMs, practice = "") {
  const clock = 480_000;
  const bin = { squeezes: 7, counted: 7, most: 30, bin: 10 };
  const plain = { wearer: "", tester: "", practice };
  const coming = running(10, 0, 0);
  const begun = coming.initial && { ...coming.initial, given: 4 };
  const steps = [];
  for (let ms = 0; ms < endMs; ms += 15_000) steps.push({ at_ms: clock + ms, facts: ms === 0 ? ["clock_started"] : ["squeezed"], run: running(10, ms, ms % 30_000 ? 5 : 2, plain) });
  return readReview({
    run: "r000412", opened: "2026-09-14", masked: true, practice, outcome, reason, hash: "9f2c4a7be1d05836fa47c01d2be98f60a3d7715c84e2b96f0d3a5c7e18b4f602",
    supervised: true, length_ms: clock + endMs + 3000, clock_ms: clock,
    stages: [["ready", 0], ["screening", 20_000], ["clearing", 32_000], ["donning", 150_000], ["dosing", 465_000], ["running", clock], ["over", clock + endMs]].map(([stage, at_ms]) => ({ stage, at_ms })),
    frames: [
      { at_ms: 0, facts: ["run_opened"], run: run("ready", { ...plain, need_ms: 900_000 }) },
      { at_ms: 20_000, facts: ["entered"], run: run("screening", plain) },
      { at_ms: 32_000, facts: ["reported", "bin_set"], run: run("clearing", { ...plain, screening: bin, top_ups: coming.top_ups }) },
      { at_ms: 150_000, facts: ["entered"], run: run("donning", { ...plain, screening: bin, top_ups: coming.top_ups, wait_ms: 300_000, need_ms: 300_000, stage_ms: 0 }) },
      { at_ms: 465_000, facts: ["entered"], run: run("dosing", { ...plain, screening: bin, dose: begun, initial: begun, top_ups: coming.top_ups }) },
      ...steps,
      { at_ms: clock + endMs, facts: ["ended"], run: running(10, endMs, 2, { ...plain, stage: "over", ticking: false, faults: reason === "cable_open" ? ["cable_open"] : [], verdict: { outcome, reason, next: "again", proof: "" } }) },
    ],
    moments: [
      { at_ms: clock + 66_000, kind: "extra", key: "top_up", top_up: 2, text: "" }, { at_ms: clock + 70_000, kind: "ignored", key: "not_in_this_stage", top_up: 0, text: "" },
      { at_ms: clock + 112_000, kind: "late", key: "top_up", top_up: 3, text: "" }, ...(reason === "cable_open" ? [{ at_ms: clock + endMs, kind: "fault", key: "cable_open", top_up: 0, text: "" }] : []),
      { at_ms: clock + endMs, kind: "verdict", key: outcome, top_up: 0, text: "" },
    ],
    cues: [],
  });
}

const pass = sample("pass", "", 420_000);
const called = {
  ...pass, outcome: "not_valid", reason: "mist_check_failed", length_ms: pass.length_ms + 3000, recalled: { outcome: "pass", reason: "", why: "", at: "2026-09-14", quality: "confirmed", by: "" },
  frames: [...pass.frames, { at_ms: pass.length_ms, facts: ["runs_recalled"], run: running(10, 420_000, 2, { stage: "over", ticking: false, wearer: "", tester: "", verdict: { outcome: "not_valid", reason: "mist_check_failed", next: "again", proof: "" } }) }],
  moments: [...pass.moments, { at_ms: pass.length_ms, kind: "recalled", key: "pass", top_up: 0, text: "" }],
};
const fail = sample("fail", "tasted", 263_000);
const cable = sample("not_valid", "cable_open", 131_000);
const drill = sample("pass", "", 420_000, "simulated board");
/** Interrupted in the sensitivity test: there is no fit test to draw. */
const early = readReview({
  run: "r000409", opened: "2026-09-14", masked: true, practice: "", outcome: "not_valid", reason: "interrupted", hash: "41d0b7c95e2a68f3b1c4870d9ea6520f7b3c18d45f9e0a62c7d81b3f604e95a2",
  supervised: true, length_ms: 44_000, clock_ms: null, stages: [{ stage: "ready", at_ms: 0 }, { stage: "screening", at_ms: 20_000 }, { stage: "over", at_ms: 41_000 }],
  frames: [
    { at_ms: 0, facts: ["run_opened"], run: run("ready", { wearer: "", tester: "", need_ms: 900_000 }) }, { at_ms: 20_000, facts: ["entered"], run: run("screening", { wearer: "", tester: "" }) },
    { at_ms: 41_000, facts: ["ended"], run: run("over", { wearer: "", tester: "", verdict: { outcome: "not_valid", reason: "interrupted", next: "again", proof: "" } }) },
  ],
  moments: [{ at_ms: 41_000, kind: "verdict", key: "not_valid", top_up: 0, text: "" }], cues: [],
});
/** Opened late: its clock started after one minute. */
const later = { ...pass, clock_ms: 60_000, length_ms: 483_000, stages: [{ stage: "dosing", at_ms: 0 }, { stage: "running", at_ms: 60_000 }, { stage: "over", at_ms: 480_000 }], frames: pass.frames.filter((f) => f.at_ms >= 465_000).map((f) => ({ ...f, at_ms: Math.max(0, f.at_ms - 420_000) })), moments: [] };
const act = { do() {}, speed() {}, seek() {} };
/** @param {Partial<import("./view-review.js").Ui>} over @returns {import("./view-review.js").Ui} */
const ui = (over) => ({ size: size(), keys: false, file: false, silent: false, problem: "", said: "", ...over });

/** @returns {Record<string, () => unknown>} */
function screens() {
  /** @type {Record<string, () => unknown>} */
  const out = {};
  /** @param {string} name @param {import("./state-review.js").Review[]} reviews @param {number} at @param {Partial<import("./view-review.js").Ui>} [over] */
  const add = (name, reviews, at, over = {}) => {
    out[`review-${name}`] = () => review(seek(player(reviews), at), ui(over), act);
  };
  for (const [name, at] of /** @type {[string, number][]} */ ([["ready", 5000], ["screening", 24_000], ["clearing", 60_000], ["donning", 260_000], ["dosing", 470_000], ["due", 570_000], ["waiting", 588_000]])) add(name, [pass], at);
  add("pass", [pass], 902_000);
  add("recalled", [called], 904_000);
  add("fail", [fail], 745_000);
  add("not-valid", [cable], 613_000);
  add("practice", [drill], 570_000);
  add("two", [pass, fail], 570_000);
  add("two-ended", [cable, fail], 760_000);
  add("two-early", [fail, early], 570_000);
  add("two-later", [fail, later], 260_000);
  add("keys", [pass], 570_000, { keys: true });
  add("file", [pass], 570_000, { file: true, silent: true });
  out["review-loading"] = () => review(null, ui({}), act);
  out["review-problem"] = () => review(null, ui({ problem: "There is no run r000999 here." }), act);
  return out;
}

const place = root();
drawing(screens, place);
showing(["run", "review"], screens(), place);
