// SPDX-License-Identifier: Apache-2.0

import assert from "node:assert/strict";
import { test } from "node:test";
import "./lang/disk.mjs";
import { sheet, sheets } from "./samples-drill.js";
import { clock, curveSays, curveShapes, didSays, fitSays, historyShapes, kappaSays, readList, readPage, seedOf, stripOf, troublesOf } from "./state-drill.js";
import { strip, wide } from "./strip.js";

test("what goes wrong is asked for as the box knows it", () => {
  assert.deepEqual(troublesOf("surprise", ["dizzy"]), []);
  assert.deepEqual(troublesOf("none", ["dizzy"]), ["none"]);
  assert.deepEqual(troublesOf("own", ["dizzy", "beard"]), ["dizzy", "beard"]);
});

test("a seed has ten characters that cannot be taken for another", () => {
  const seed = seedOf(new Uint8Array(Array.from({ length: 20 }, (_, i) => i * 13)));
  assert.match(seed, /^[2-9a-hj-km-np-z]{10}$/);
  assert.notEqual(seed, seedOf(new Uint8Array(10)));
});

test("an answer without its lists is refused by name", () => {
  assert.throws(() => readPage({ judged: [], sheet: { items: [] } }), /sheet.reactions is no list/);
  assert.throws(() => readList(null), /drills is no list/);
  assert.equal(readPage({ judged: [], sheet }).sheet, sheet);
});

test("the curve stands over the strip's time, the threshold a line of its own", () => {
  const f = { ...wide, height: 190, names: false };
  const s = sheets.tasted;
  const shapes = curveShapes(s, f);
  const threshold = shapes.filter((x) => x.cls === "d-threshold");
  assert.equal(threshold.length, 1);
  const taste = shapes.find((x) => x.cls === "d-taste");
  assert.ok(taste);
  const points = [...String(taste.at.d).matchAll(/[ML]([\d.]+) ([\d.]+)/g)].map((m) => ({ x: Number(m[1]), y: Number(m[2]) }));
  assert.equal(points.length, s.curve.length);
  for (const [i, p] of points.entries()) {
    // Above the line is above the threshold; y grows downward.
    assert.equal(p.y <= Number(threshold[0]?.at.y1), (s.curve[i]?.taste ?? 0) >= 1, `point ${i}`);
  }
  const hand = shapes.find((x) => x.cls === "s-hand");
  const edges = strip(stripOf(s, "✕"), wide).filter((x) => x.cls === "s-edge");
  const own = shapes.filter((x) => x.cls === "s-edge");
  assert.deepEqual(own.map((x) => x.at.x1), edges.map((x) => x.at.x1));
  assert.ok(hand && Number(hand.at.x1) > Number(own[0]?.at.x1) && Number(hand.at.x1) < Number(own[1]?.at.x1));
  assert.equal(curveSays(s), "It was tasted from 2:14 on.");
  assert.equal(curveSays(sheet), "It never reached the threshold.");
});

test("every sample's numbers can be drawn", () => {
  for (const [name, s] of Object.entries(sheets)) {
    for (const x of [...curveShapes(s, wide), ...strip(stripOf(s, "✓"), wide)]) {
      for (const [k, v] of Object.entries(x.at)) assert.ok(typeof v === "string" ? !v.includes("NaN") : Number.isFinite(v), `${name} ${x.cls} ${k}`);
    }
  }
});

test("scores: one post for each that is scored, a cross for one that is not, none for one under way", () => {
  const line = { run: "r1", trainee: "B", opened: "2026-09-14T08:12:00Z", level: "easy", troubles: [], scored: true, unscored: "", points: 80, outcome: "pass", reason: "", against: "agrees" };
  const c = historyShapes([{ ...line, points: 100 }, { ...line, scored: false, unscored: "given_up", points: 0 }, line, { ...line, scored: false, unscored: "open" }]);
  assert.equal(c.n, 3);
  const posts = c.shapes.filter((x) => x.cls === "d-post");
  assert.equal(posts.length, 2);
  // The newest, with full marks, stands on the right and reaches higher.
  const [old, fresh] = posts;
  assert.ok(old && fresh && Number(fresh.at.x1) > Number(old.at.x1) && Number(fresh.at.y2) < Number(old.at.y2));
  assert.equal(c.shapes.filter((x) => x.cls === "d-unscored").length, 1);
  const many = historyShapes(Array.from({ length: 90 }, () => line));
  assert.equal(many.n, 40);
  for (const x of many.shapes) if (x.cls === "d-post") assert.ok(Number(x.at.x1) < many.width);
});

test("agreement says its interval, or that there is none", () => {
  const a = { both: 20, trainee: 1, trainer: 2, neither: 7, share: 0.9, defined: true, kappa: 0.7561, lo: 0.5, hi: 1, few: false };
  assert.equal(kappaSays(a), "0.76 (0.50 to 1.00); 27 of 30 alike");
  assert.match(kappaSays({ ...a, few: true }), /too few to say$/);
  assert.match(kappaSays({ ...a, defined: false }), /^cannot be told/);
  assert.equal(kappaSays({ ...a, both: 0, trainee: 0, trainer: 0, neither: 0 }), "–");
});

test("the hidden fit and what was done about a trouble, in words", () => {
  assert.match(fitSays({ ...sheet.truth, fits: true, leak: 1 / 12345 }), /fitted\*: about 1\/12[,.  ]?300 of/);
  assert.match(fitSays({ ...sheet.truth, fits: false, leak: 1 / 20 }), /leaked\*: about 1\/20 of/);
  assert.match(fitSays(sheets.tasted.truth), /leaked in one exercise/);
  const r = { n: 1, trouble: "dizzy", at_s: 600, right: "welfare", by_s: 10, did: "welfare", after_s: 3.02, grade: "right", ends: true };
  assert.equal(didSays(r), "right, after 3 s");
  assert.equal(didSays({ ...r, grade: "missed", did: "", after_s: null }), "nothing");
  assert.equal(clock(134.9), "2:14");
});
