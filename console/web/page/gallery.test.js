// SPDX-License-Identifier: Apache-2.0

import assert from "node:assert/strict";
import { readFile } from "node:fs/promises";
import { test } from "node:test";
import { read } from "./contract.js";
import { dose, run, running, snapshot, states } from "./samples.js";
import { added, cadence, dead, lesson, median, mostRemarks, remarksOf } from "./state-gallery.js";

test("medians", () => {
  assert.equal(median([3, 1, 2]), 2);
  assert.equal(median([4, 1, 2, 3]), 2.5);
  assert.ok(Number.isNaN(median([])));
});

/** A run with one complete top-up, one late and the third under way. */
function paced() {
  const ups = [dose(1, 5, 5), dose(2, 5, 5), dose(3, 5, 3)];
  return run("running", {
    initial: dose(0, 10, 10), top_ups: ups, run_ms: 92_400, ticking: true, exercise: 1,
    squeezes_ms: [...Array.from({ length: 10 }, (_, i) => (i - 9) * 900), 30_000, 31_000, 32_000, 33_000, 34_200, 70_000, 72_000, 74_000, 76_000, 81_500, 90_000, 90_400, 92_000],
  });
}

test("cadence: times between the squeezes of the present dose, and how late each was complete", () => {
  const c = cadence(paced(), 92_400);
  assert.equal(c.dose, 3);
  assert.deepEqual(c.between, { median: 1000, worst: 400, hurried: true }); // 0.4 and 1.6 s
  assert.deepEqual(c.lateness, { median: (4200 + 21_500) / 2, worst: 21_500, done: 2 });
});

test("before the next dose begins the last one is told; a dose given early is not late", () => {
  const r = paced();
  r.squeezes_ms = r.squeezes_ms.slice(0, -3);
  r.top_ups[2] = dose(3, 5, 0);
  assert.equal(cadence(r, 86_000).dose, 2);
  assert.deepEqual(cadence(run("dosing", { initial: dose(0, 10, 1), squeezes_ms: [-500] }), null), { dose: 0, between: null, lateness: null });
  const early = run("running", { initial: dose(0, 1, 1), top_ups: [dose(1, 1, 1)], run_ms: 29_000, squeezes_ms: [0, 28_000] });
  assert.equal(cadence(early, 29_000).lateness.worst, 0);
  const corrected = run("running", { initial: dose(0, 1, 1), top_ups: [dose(1, 2, 2)], run_ms: 40_000, squeezes_ms: [0, 31_000] });
  assert.equal(cadence(corrected, 40_000).lateness, null, "a dose made whole by a correction tells no time");
});

test("remarks come once, with board and run time, and all of them to a page that has just come", () => {
  const a = snapshot({ run: paced() });
  const r = paced();
  r.top_ups[1] = { ...r.top_ups[1], remarks: ["late"] };
  r.top_ups[2] = { ...r.top_ups[2], remarks: ["hurried"] };
  r.faults = ["chatters"];
  const b = snapshot({ run: r });
  const news = remarksOf("Bench B", a, b);
  assert.deepEqual(news.map((x) => [x.board, x.key, x.n, x.atMs]), [["Bench B", "late", 2, 81_500], ["Bench B", "hurried", 3, 90_400], ["Bench B", "fault", 0, 92_400]]);
  assert.deepEqual(remarksOf("Bench B", b, b), []);
  assert.deepEqual(remarksOf("Bench B", null, b), news);
  assert.deepEqual(remarksOf("Bench B", snapshot({ run: { ...r, run: "another" } }), b), news, "another run begins anew");
  assert.deepEqual(remarksOf("Bench B", b, snapshot({})), []);
  const over = snapshot({ run: { ...r, stage: "over", verdict: { outcome: "fail", reason: "tasted", next: "", proof: "" } } });
  assert.deepEqual(remarksOf("x", b, over).map((x) => [x.key, x.what]), [["verdict", "fail"]]);
});

test("a note is told once however often it is sent, and the same note again is a new one", () => {
  const note = (ago) => ({ what: "press step", why: "not_in_this_stage", ago_ms: ago });
  const at = (ms, ...ago) => snapshot({ run: { ...paced(), stage_ms: ms, run_ms: ms, notes: ago.map(note) } });
  /** @type {import("./contract.js").Snapshot|null} */
  let before = at(50_000);
  let told = 0;
  for (const s of [at(50_100, 0), at(50_350, 250), at(50_500, 400, 0), at(50_750, 650, 250), at(50_751, 651, 251), at(60_000, 9900, 9500)]) {
    told += remarksOf("", before, s).length;
    before = s;
  }
  assert.equal(told, 2);
  assert.equal(remarksOf("", null, before).length, 2);
});

test("the list is newest first and has an end", () => {
  const one = (n) => ({ board: "", run: "r", atMs: n, key: "late", n, what: "" });
  assert.deepEqual(added([one(1)], [one(2), one(3)]).map((r) => r.n), [3, 2, 1]);
  assert.equal(added(Array.from({ length: 500 }, (_, i) => one(i)), []).length, mostRemarks);
});

test("a board is dead within two seconds", () => {
  const b = { name: "B", own: false, state: "live", snap: states.due, ageMs: 900 };
  assert.equal(dead(b), false);
  // Drawn five times a second: 1.8 s is on the screen before two seconds are over.
  assert.equal(dead({ ...b, ageMs: 1800 }), true);
  assert.equal(dead({ ...b, state: "lost" }), true, "a line that broke needs no waiting");
  assert.equal(dead({ ...b, snap: null, ageMs: 0 }), true);
});

test("every moment has one sentence of what comes next and why", async () => {
  const words = JSON.parse(await readFile(new URL("./lang/en/gallery.json", import.meta.url), "utf8"));
  const seen = new Set();
  const look = (s) => {
    const l = lesson(s, 0);
    seen.add(l.key);
    assert.ok(words[`gallery.why_${l.key}`], l.key);
    return l;
  };
  for (const s of Object.values(states)) look(s);
  for (const bin of [10, 20, 30]) {
    for (let ms = 0; ms < 420_000; ms += 500) {
      const full = running(bin, ms, bin / 2);
      const l = look(snapshot({ run: full }));
      // What is announced always lies ahead.
      if (l.atMs) assert.ok(l.atMs >= ms, `${l.key} at ${ms}`);
      const none = look(snapshot({ run: running(bin, ms, 0) }));
      if (none.key === "due") assert.equal(none.n, bin / 2);
    }
  }
  for (const id of states.due.run.exercises.slice(1)) assert.ok(seen.has(`to_${id}`), `no word before ${id}`);
  for (const key of ["none", "ready", "screening", "clearing", "donning", "dosing", "due", "waiting", "last", "proving_button", "ending", "proving_mist", "pass", "fail", "not_valid", "cannot_taste"]) assert.ok(seen.has(key), key);
});

test("news of a board are checked like a snapshot", () => {
  const m = { type: "board", name: "Bench B", state: "live", age_ms: 12, snapshot: states.due };
  assert.deepEqual(read(JSON.stringify(m)), m);
  assert.deepEqual(read(JSON.stringify({ ...m, age_ms: -1, snapshot: null })).snapshot, null);
  assert.throws(() => read(JSON.stringify({ ...m, snapshot: {} })), /Board\.snapshot/);
});
