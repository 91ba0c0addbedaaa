// SPDX-License-Identifier: Apache-2.0

import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { test } from "node:test";
import { has, put } from "./lang.js";
import { dose, run, running } from "./samples.js";
import { shown } from "./state.js";
import { cuesBetween, endedBefore, factTimes, faster, frameAt, keyed, momentNow, moments, player, readReview, runAt, seek, snapAt, speeds, step, tick, toggle } from "./state-review.js";
import { momentWords } from "./words-review.js";

for (const area of ["run", "review"]) put("en", JSON.parse(readFileSync(new URL(`lang/en/${area}.json`, import.meta.url), "utf8")));

/** A run of twenty seconds whose clock starts after eight. */
const sample = (over = {}) => readReview({
  run: "r000041", opened: "2026-09-14", masked: true, practice: "", outcome: "fail", reason: "tasted", hash: "ab", supervised: true, length_ms: 20_000, clock_ms: 8000,
  stages: [{ at_ms: 0, stage: "ready" }, { at_ms: 8000, stage: "running" }],
  frames: [
    { at_ms: 0, facts: ["run_opened"], run: run("donning", { stage_ms: 0, wait_ms: 5000, need_ms: 5000, screening: { squeezes: 7, counted: 7, most: 30, bin: 10 } }) },
    { at_ms: 5000, facts: [], run: { stage_ms: 5000, wait_ms: 0 } },
    { at_ms: 8000, facts: ["squeezed", "clock_started"], run: running(10, 0, 0, { stage_ms: 0, wait_ms: 0, need_ms: 0, notes: [{ what: "press step", why: "not_in_this_stage", ago_ms: 10 }] }) },
    { at_ms: 17_000, facts: ["ended"], run: { stage: "over", ticking: false, run_ms: 9000, stage_ms: 0, verdict: { outcome: "fail", reason: "tasted", next: "refit", proof: "" } } },
  ],
  moments: [{ at_ms: 6000, kind: "ignored", key: "not_in_this_stage", top_up: 0, text: "" }, { at_ms: 17_000, kind: "verdict", key: "fail", top_up: 0, text: "" }],
  cues: [{ at_ms: 8000, cue: "dose_done" }, { at_ms: 17_000, cue: "stop" }],
  ...over,
});

test("frames that hold what changed are whole, and the right one is found", () => {
  const r = sample();
  assert.equal(r.frames[1]?.run.need_ms, 5000);
  assert.equal(r.frames[3]?.run.top_ups.length, 13);
  for (const [ms, at] of [[0, 0], [4999, 0], [5000, 5000], [7999, 5000], [8000, 8000], [16_999, 8000], [17_000, 17_000], [99_000, 17_000]]) assert.equal(frameAt(r, Number(ms)).at_ms, at);
  for (const bad of [null, {}, { run: "r1" }, { ...sample(), frames: [] }, { ...sample(), cues: null }]) assert.throws(() => readReview(bad), Error);
});

test("what goes by itself goes on, and stands still after the end", () => {
  const r = sample();
  assert.equal(runAt(r, 1200).wait_ms, 3800);
  assert.equal(runAt(r, 1200).stage_ms, 1200);
  assert.equal(runAt(r, 11_500).run_ms, 3500);
  assert.equal(runAt(r, 11_500).notes[0]?.ago_ms, 3510);
  assert.equal(runAt(r, 19_000).run_ms, 9000);
  assert.equal(runAt(r, 19_000).stage_ms, 2000);
  // A frame far back must not be cut at the age at which a live page goes stale.
  const s = shown(/** @type {any} */ (snapAt({ review: r, from: 0 }, 16_000)), 0, "");
  assert.equal(s.clockMs, 8000);
  assert.equal(s.stale, false);
});

test("the player plays at its speed, stops at the end and begins anew", () => {
  let p = toggle(player([sample()]));
  p = tick(p, 1000);
  assert.equal(p.at, 1000);
  p = tick(faster(faster(p, 1), 1), 1000);
  assert.equal(p.at, 5000);
  p = tick({ ...p, speed: 16 }, 5000);
  assert.deepEqual([p.at, p.playing], [20_000, false]);
  assert.equal(tick(p, 1000).at, 20_000);
  assert.deepEqual([toggle(p).at, toggle(p).playing], [0, true]);
  assert.equal(faster({ ...p, speed: 16 }, 1).speed, 16);
  assert.equal(faster({ ...p, speed: 0.5 }, -1).speed, 0.5);
  assert.deepEqual([seek(p, -5).at, seek(p, 1e9).at], [0, 20_000]);
  assert.deepEqual(speeds, [0.5, 1, 2, 4, 8, 16]);
});

test("steps go fact by fact, over what only the clock brought", () => {
  const p = player([sample()]);
  const times = factTimes(p);
  assert.deepEqual(times, [0, 8000, 17_000]);
  const on = step(toggle(p), times, 1);
  assert.deepEqual([on.at, on.playing], [8000, false]);
  assert.equal(step(on, times, 1).at, 17_000);
  assert.equal(step(on, times, -1).at, 0);
  assert.equal(step(seek(p, 19_000), times, 1).at, 19_000);
});

test("two runs stand on one axis with their clocks together", () => {
  const p = player([sample(), sample({ clock_ms: 3000, length_ms: 30_000 })]);
  assert.deepEqual(p.tracks.map((t) => t.from), [0, 5000]);
  assert.equal(p.length, 35_000);
  assert.equal(snapAt(/** @type {any} */ (p.tracks[1]), 4999), null);
  assert.deepEqual(moments(p).map((m) => [m.track, m.at]), [[0, 6000], [1, 11_000], [0, 17_000], [1, 22_000]]);
  assert.equal(momentNow(moments(p), 5000), -1);
  assert.equal(momentNow(moments(p), 11_000), 1);
  // Without a clock in one of them they begin together.
  assert.deepEqual(player([sample(), sample({ clock_ms: null })]).tracks.map((t) => t.from), [0, 0]);
});

test("beside a run that goes on, one that had ended says when", () => {
  const short = sample({ length_ms: 8000, stages: [{ at_ms: 0, stage: "ready" }, { at_ms: 5000, stage: "over" }], clock_ms: null });
  const p = player([sample({ length_ms: 20_000, clock_ms: null }), short]);
  const ends = (/** @type {number} */ at) => p.tracks.map((t) => endedBefore(seek(p, at), t));
  assert.deepEqual(ends(5000), [null, null], "at its end its own words stand there");
  assert.deepEqual(ends(5060), [null, 5000]);
  // Without the word over it had ended where its review ends.
  const cut = player([sample({ length_ms: 20_000, clock_ms: null }), { ...short, stages: short.stages.slice(0, 1) }]);
  assert.deepEqual(cut.tracks.map((t) => endedBefore(seek(cut, 9000), t)), [null, 8000]);
  const alone = player([short]);
  assert.equal(alone.tracks[0] && endedBefore(seek(alone, 8000), alone.tracks[0]), null, "one run alone is over for everybody to see");
});

test("each tone sounds once, however the time between two frames falls", () => {
  const p = player([sample()]);
  const heard = [];
  for (let at = 0; at < 20_000; at += 333) heard.push(...cuesBetween(p, at, at + 333));
  assert.deepEqual(heard.map((c) => c.cue), ["dose_done", "stop"]);
  assert.deepEqual(cuesBetween(p, 8000, 9000), []);
});

test("keys", () => {
  const key = (/** @type {string} */ k, over = {}) => keyed({ key: k, shiftKey: false, ctrlKey: false, altKey: false, metaKey: false, ...over });
  assert.deepEqual([" ", "ArrowRight", "ArrowLeft", "n", "P", "m", "Home", "x"].map((k) => key(k)), ["toggle", "on", "back", "next", "before", "mute", "start", ""]);
  assert.equal(key("ArrowRight", { shiftKey: true }), "forward");
  assert.equal(key("p", { ctrlKey: true }), "");
});

test("every kind of moment and fact has words", () => {
  const source = readFileSync(new URL("../../review/review.go", import.meta.url), "utf8");
  const kinds = [...(/var Kinds = \[\]string\{([^}]*)\}/.exec(source)?.[1] ?? "").matchAll(/"(\w+)"/g)].map((m) => m[1] ?? "");
  assert.ok(kinds.length > 10, "the kinds are not found");
  const keys = /** @type {Record<string, string[]>} */ ({ hurried: ["top_up", "initial"], extra: ["top_up", ""], added: ["top_up", "initial", "screening"], taken_back: ["top_up", "initial", "screening"], late: ["top_up"], ignored: ["not_in_this_stage"], fault: ["cable_open"], verdict: ["pass"], proof: ["tasted", "welfare", "left"], name_said: ["yes", "no"], remark: ["tried_before", "no_nebuliser_named", "name_not_confirmed"] });
  for (const kind of kinds) {
    for (const key of keys[kind] ?? [""]) {
      const words = momentWords({ at_ms: 0, kind, key, top_up: key === "top_up" ? 3 : 0, text: "" });
      assert.match(words, /^[A-Z].*\.$/, `${kind} ${key}: ${words}`);
    }
  }
  const facts = readFileSync(new URL("../../procedure/facts.go", import.meta.url), "utf8");
  const all = [...facts.matchAll(/Kind\(\) string\s+\{ return "(\w+)" \}/g)].map((m) => m[1] ?? "");
  assert.ok(all.length > 20, "the facts are not found");
  for (const k of all) assert.ok(has(`review.facts.${k}`), `no words for ${k}`);
  assert.ok(dose(1, 5, 5).remarks);
});
