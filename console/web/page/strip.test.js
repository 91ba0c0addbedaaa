// SPDX-License-Identifier: Apache-2.0

import assert from "node:assert/strict";
import { test } from "node:test";
import "./lang/disk.mjs";
import { running, states } from "./samples.js";
import { around, level, levelPoints, ofRun, strip, wide } from "./strip.js";

const pips = (shapes, cls) => shapes.filter((s) => s.tag === "circle" && s.cls.split(" ").includes(cls)).length;

test("a pip for every squeeze due: 7.5 N of a whole run", () => {
  for (const bin of [10, 20, 30]) {
    const r = running(bin, 0, 0);
    const shapes = strip(ofRun(r, 0, ""), wide);
    assert.equal(pips(shapes, "s-pip"), 7.5 * bin);
    assert.equal(pips(shapes, "s-pip-given"), bin);
  }
});

test("given pips are filled, missed ones crossed, extra ones stand above", () => {
  const nv = states["not-valid"].run;
  const shapes = strip(ofRun(nv, 175_000, "⊘"), wide);
  assert.equal(pips(shapes, "s-pip-given"), 10 + 4 * 5 + 3);
  assert.equal(pips(shapes, "s-pip-missed"), 2);
  assert.equal(shapes.filter((s) => s.cls === "s-cross").length, 2);
  const due = strip(ofRun(states.due.run, 214_000, ""), wide);
  const extra = due.filter((s) => s.cls.includes("s-pip-extra"));
  assert.equal(extra.length, 2);
  const row = due.filter((s) => s.cls === "s-pip");
  assert.ok(extra.every((e) => e.at.cy < Math.min(...row.map((p) => p.at.cy))));
});

test("nothing that was given stands behind the line where the run stopped", () => {
  for (const bin of [10, 20, 30]) {
    for (let ms = 0; ms <= 420_000; ms += 1300) {
      const at = Math.floor(ms / 30_000);
      const given = at === 0 || at > 13 ? 0 : Math.min(bin / 2, Math.floor((ms - at * 30_000) / 1000)); // one a second, from when it is due
      const r = running(bin, ms, given);
      r.top_ups = r.top_ups.map((d) => ({ ...d, given: d.n < at ? d.required : d.n === at ? given : 0 }));
      const shapes = strip({ ...ofRun(r, ms, "✕"), ended: true }, wide);
      const stop = shapes.find((s) => s.cls === "s-hand").at.x1;
      for (const s of shapes) if (s.tag === "circle" && s.cls.includes("s-pip-given")) assert.ok(s.at.cx <= stop, `bin ${bin}, stopped at ${ms} ms: a given squeeze at ${s.at.cx}, the line at ${stop}`);
    }
  }
});

test("an open window has no crossed pip", () => {
  const shapes = strip(ofRun(running(10, 54_999, 2), 54_999, ""), wide);
  assert.equal(pips(shapes, "s-pip-missed"), 0);
});

test("the level is the sum of 2^(-t/T) over the squeezes", () => {
  // The rule of half a dose every 30 s gives T = 30 s.
  assert.equal(level([0], 10, 30_000, 0), 0.1);
  assert.ok(Math.abs(level([0], 1, 30_000, 12_345) - 2 ** (-12.345 / 30)) < 1e-12);
  assert.ok(Math.abs(level([0], 1, 45_000, 12_345) - 2 ** (-12.345 / 45)) < 1e-12);
  const all = Array(10).fill(0);
  assert.ok(Math.abs(level(all, 10, 30_000, 30_000) - 0.5) < 1e-12);
  assert.ok(Math.abs(level([...all, ...Array(5).fill(30_000)], 10, 30_000, 30_000) - 1) < 1e-12);
  assert.equal(level([5000], 1, 30_000, 4999), 0);
});

test("one top-up missed at 60 s: 0.25 before and 0.75 after the one at 90 s", () => {
  const s = [...Array(10).fill(0), ...Array(5).fill(30_000), ...Array(5).fill(90_000)];
  assert.ok(Math.abs(level(s, 10, 30_000, 89_999.999) - 0.25) < 1e-6);
  assert.ok(Math.abs(level(s, 10, 30_000, 90_000) - 0.75) < 1e-12);
});

test("the drawn points lie on the level, lines between them within 0.001", () => {
  const r = running(10, 214_000, 2);
  const points = levelPoints(r.squeezes_ms, 10, 30_000, -7200, 214_000);
  for (let i = 0; i < points.length; i++) {
    const p = points[i];
    const next = points[i + 1];
    assert.ok(!next || next.t >= p.t);
    if (!next || next.t - p.t < 1) continue;
    assert.ok(Math.abs(p.l - level(r.squeezes_ms, 10, 30_000, p.t)) < 1e-9);
    const mid = (p.t + next.t) / 2;
    assert.ok(Math.abs((p.l + next.l) / 2 - level(r.squeezes_ms, 10, 30_000, mid)) < 0.001);
  }
  assert.equal(points.at(-1).t, 214_000);
});

test("nothing is drawn outside the frame", () => {
  for (const bin of [10, 20, 30]) {
    for (const ms of [0, 95_000, 214_000, 420_000]) {
      const s = ofRun(running(bin, ms, 2), ms, "");
      for (const f of [wide, around(s, 366, 190)]) {
        for (const shape of strip(s, f)) {
          for (const key of ["x", "x1", "x2", "cx"]) {
            const v = shape.at[key];
            if (v !== undefined) assert.ok(v >= 0 && v <= f.width, `${shape.cls} ${key}=${v} of ${f.width}`);
          }
        }
      }
    }
  }
});

test("around shows the block under way and its neighbours", () => {
  const s = ofRun(running(10, 214_000, 2), 214_000, "");
  const names = strip(s, around(s, 366, 190)).filter((x) => x.cls.startsWith("s-name")).map((x) => x.text);
  assert.deepEqual(names, ["side to side", "up and down", "talking"]);
});

test("before the clock there is no hand and no level", () => {
  const shapes = strip(ofRun(states.dosing.run, null, ""), wide);
  assert.equal(shapes.filter((s) => s.cls === "s-hand" || s.cls === "s-level").length, 0);
  assert.equal(pips(shapes, "s-pip-given"), 4);
});

test("once the bin is known the coming doses are drawn as due, and none before", () => {
  // Bin 10: ten, then five every half minute up to 390 s: 29 CFR 1910.134, Appendix A, Part I.B.3(b), B.4(b).
  for (const name of ["clearing", "donning"]) {
    const shapes = strip(ofRun(states[name].run, null, ""), wide);
    assert.equal(pips(shapes, "s-pip"), 10 + 13 * 5, name);
    assert.equal(pips(shapes, "s-pip-given") + pips(shapes, "s-pip-missed"), 0, name);
  }
  assert.equal(pips(strip(ofRun(states.screening.run, null, ""), wide), "s-pip"), 0);
  assert.equal(pips(strip(ofRun(states["cannot-taste"].run, null, ""), wide), "s-pip"), 0);
});
