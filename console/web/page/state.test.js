// SPDX-License-Identifier: Apache-2.0

import assert from "node:assert/strict";
import { test } from "node:test";
import "./lang/disk.mjs";
import { dose, run, running, snapshot, states } from "./samples.js";
import { minutes, openDose, runClock, shown } from "./state.js";
import { outcomes } from "./words.js";

const at = (name, age = 0) => shown(states[name], age, "page-1");

test("the run clock is the snapshot's plus its age at the clock's speed", () => {
  const s = snapshot({ run: running(10, 100_000, 0), speed: 4 });
  assert.equal(runClock(s, 500), 102_000);
  assert.equal(runClock(snapshot({ run: running(10, 100_000, 0, { ticking: false }) }), 500), 100_000);
  assert.equal(runClock(snapshot({ run: run("dosing") }), 500), null);
});

test("the run clock stands still once stale, and at the end", () => {
  const s = snapshot({ run: running(10, 100_000, 0) });
  assert.equal(runClock(s, 60_000), 102_000);
  assert.equal(runClock(snapshot({ run: running(10, 419_500, 0) }), 1500), 420_000);
});

test("windows meet: 30 k - 5 s belongs to top-up k, the instant before to k - 1", () => {
  const r = running(10, 0, 0);
  assert.equal(openDose(r, 24_999), null);
  assert.equal(openDose(r, 25_000)?.n, 1);
  assert.equal(openDose(r, 54_999)?.n, 1);
  assert.equal(openDose(r, 55_000)?.n, 2);
  assert.equal(openDose(r, 414_999)?.n, 13);
  assert.equal(openDose(r, 415_000), null);
});

test("the number is what is still due, then the time until the next dose", () => {
  const due = at("due");
  assert.equal(due.big.kind, "count");
  assert.equal(due.big.text, "3");
  assert.equal(due.title, "Top-up 7 of 13");
  assert.match(due.detail, /due at 3:30, closes in 21 s/);
  assert.match(due.sentence, /\*three more\*/);
  const waiting = at("waiting");
  assert.equal(waiting.big.kind, "time");
  assert.equal(waiting.big.text, "0:19");
  assert.match(waiting.sentence, /2:00/);
  assert.equal(at("last").big.text, "0:18");
});

test("a window that opened between snapshots is the one shown", () => {
  const s = snapshot({ run: running(10, 59_500, 0) });
  assert.equal(shown(s, 0, "page-1").big.kind, "time");
  const later = shown(s, 700, "page-1");
  assert.equal(later.big.text, "5");
  assert.equal(later.title, "Top-up 2 of 13");
});

test("before it is due an open top-up counts down; begun early it counts what is left", () => {
  const soon = shown(snapshot({ run: running(10, 57_000, 0) }), 0, "page-1");
  assert.equal(soon.big.text, "0:03");
  const begun = shown(snapshot({ run: running(10, 57_000, 1) }), 0, "page-1");
  assert.equal(begun.big.text, "4");
});

test("the exercise and its time left", () => {
  const e = at("due").exercise;
  assert.equal(e?.name, "Head up and down");
  assert.equal(e?.left, "0:26");
  assert.equal(e?.after, "then talking");
});

test("the sensitivity test counts up to thirty, then the wait", () => {
  assert.equal(at("screening").big.text, "17");
  assert.match(at("screening").detail, /1 doubtful/);
  assert.equal(at("screening").goOn, false);
  assert.equal(at("screening-full").big.text, "0:08");
  assert.equal(at("screening-full").goOn, true);
});

test("a verdict is shown only when the snapshot holds one", () => {
  assert.equal(at("ending").verdict, null);
  assert.equal(at("ending").big.text, "Saving");
  for (const [name, word] of [["pass", "Pass"], ["fail", "Fail"], ["not-valid", "Not valid"], ["cannot-taste", "Cannot taste"]]) {
    assert.equal(at(name).verdict?.word, word);
    assert.equal(at(name).big.text, word);
    assert.notEqual(at(name).big.mark, "", "a shape stands beside the word");
    assert.equal(at(name).may.stop, false);
  }
});

test("the proof can be stopped and left at once, and nothing else ends so", () => {
  const s = at("proving-mist");
  assert.deepEqual([s.may.stop, s.may.leaveProof, s.verdict?.mayProve], [true, true, false]);
  for (const name of Object.keys(states).filter((n) => states[n]?.run?.stage !== "proving_mist")) assert.equal(at(name).may.leaveProof, false, name);
  // Left, it is told why, and not offered again; the pass stays.
  for (const why of ["welfare", "left"]) {
    const pass = states.pass;
    assert.ok(pass?.run?.verdict);
    const v = shown({ ...pass, run: { ...pass.run, verdict: { ...pass.run.verdict, proof: why } } }, 0, "page-1").verdict;
    assert.deepEqual([v?.word, v?.mayProve], ["Pass", false]);
    assert.match(v?.proof ?? "", /^Proof: not made\. .*\.$/);
  }
});

test("no state without a verdict shows an outcome's word as its number", () => {
  const words = Object.values(outcomes);
  for (const [name, s] of Object.entries(states)) {
    if (s.run?.verdict) continue;
    assert.ok(!words.includes(shown(s, 0, "page-1").big.text), name);
  }
});

test("stale after two seconds, in words", () => {
  assert.equal(at("due", 2000).stale, false);
  const old = at("due", 4200);
  assert.equal(old.stale, true);
  assert.equal(old.age, "4 s old");
});

test("driving is by the lease alone", () => {
  assert.equal(at("due").driving, true);
  assert.equal(shown(states.due, 0, "").driving, false);
  assert.equal(shown(snapshot({ driver: "" }), 0, "").driving, false);
  assert.equal(at("watching").driving, false);
  assert.equal(at("watching").driven, true);
});

test("what is not saved for over a second is said", () => {
  const word = (lag, age = 0) => shown(snapshot({ lag_ms: lag }), age, "").health[2].word;
  assert.equal(word(1000), "saved");
  assert.equal(word(1001), "not saved yet");
  assert.equal(word(400, 700), "not saved yet");
  assert.equal(word(0, 1900), "saved");
  assert.equal(shown(snapshot({ storage: "failed" }), 0, "").health[2].word, "NOT SAVING");
  assert.match(shown(snapshot({ storage: "unnoted" }), 0, "").sentence, /not valid/);
});

test("health of inputs and sound", () => {
  const s = snapshot({ sound: "no player" });
  s.inputs.cable = "cable_open";
  const h = shown(s, 0, "").health;
  assert.deepEqual(h.map((x) => x.ok), [false, false, true]);
  assert.equal(h[0].word, "button cable open");
});

test("times", () => {
  assert.equal(minutes(0), "0:00");
  assert.equal(minutes(1), "0:01");
  assert.equal(minutes(60_000), "1:00");
  assert.equal(minutes(-5), "0:00");
});

test("an initial dose counts down from the bin", () => {
  const s = snapshot({ run: run("dosing", { initial: dose(0, 20, 13) }) });
  assert.equal(shown(s, 0, "page-1").big.text, "7");
});
