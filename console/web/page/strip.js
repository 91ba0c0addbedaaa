// SPDX-License-Identifier: Apache-2.0

// The strip: a run on one time axis, as shapes without a browser. Seven blocks
// of two half-minute cells, a pip per squeeze due, the modelled hood level under
// them, exercise names on the axis, a line where the run stands. A pip is
// filled when given and crossed when its window closed without it; extra ones
// stand above the row. The level is modelled, never evidence.

import { t } from "./lang.js";
import { exercise } from "./words.js";

/** @typedef {{n: number, required: number, given: number, extra: number, dueMs: number, shutMs: number}} StripDose */
/**
 * @typedef {object} StripRun
 * @property {number} lengthMs
 * @property {number} exerciseMs
 * @property {string[]} exercises
 * @property {StripDose|null} initial
 * @property {StripDose[]} topUps
 * @property {number[]} squeezesMs
 * @property {number} halfLifeMs
 * @property {number|null} nowMs      where the run stands; null before the clock
 * @property {boolean} ended
 * @property {string} mark            at the end of a run: a shape for its outcome
 */
/** @typedef {{width: number, height: number, fromMs: number, toMs: number, times: boolean, names: boolean, left: number}} StripFrame */
/** @typedef {{tag: "rect"|"line"|"path"|"circle"|"text", cls: string, at: Record<string, number|string>, text?: string}} Shape */

export const defaultHalfLifeMs = 30_000;

/**
 * The modelled level at an instant, in units of the initial dose: a squeeze
 * adds one, and everything halves once per half-life.
 * @param {number[]} squeezesMs
 * @param {number} dose
 * @param {number} halfLifeMs
 * @param {number} atMs
 */
export function level(squeezesMs, dose, halfLifeMs, atMs) {
  let sum = 0;
  for (const s of squeezesMs) if (s <= atMs) sum += 2 ** (-(atMs - s) / halfLifeMs);
  return sum / dose;
}

/**
 * Points of the level between two instants, those before and at each squeeze
 * among them; straight lines between them lie within 0.001 where it is below 2.
 * @param {number[]} squeezesMs
 * @param {number} dose
 * @param {number} halfLifeMs
 * @param {number} fromMs
 * @param {number} toMs
 * @returns {{t: number, l: number}[]}
 */
export function levelPoints(squeezesMs, dose, halfLifeMs, fromMs, toMs) {
  const sorted = [...squeezesMs].sort((a, b) => a - b);
  const stepMs = halfLifeMs / 25;
  let t = fromMs;
  let l = level(sorted, dose, halfLifeMs, fromMs);
  const out = [{ t, l }];
  /** @param {number} end */
  const fall = (end) => {
    const start = t;
    const high = l;
    for (let x = start + stepMs; x < end; x += stepMs) out.push({ t: x, l: high * 2 ** (-(x - start) / halfLifeMs) });
    l = high * 2 ** (-(end - start) / halfLifeMs);
    t = end;
    out.push({ t, l });
  };
  for (const s of sorted) {
    if (s <= fromMs || s > toMs) continue;
    fall(s);
    l += 1 / dose;
    out.push({ t, l });
  }
  if (t < toMs) fall(toMs);
  return out;
}

/** The whole strip. @type {StripFrame} */
export const wide = { width: 1220, height: 210, fromMs: -24_000, toMs: 426_000, times: true, names: true, left: 70 };

/**
 * A frame of the block under way and its neighbours.
 * @param {StripRun} run
 * @param {number} width
 * @param {number} height
 * @returns {StripFrame}
 */
export function around(run, width, height) {
  const k = run.nowMs === null ? -1 : Math.floor(run.nowMs / run.exerciseMs);
  const frame = { width, height, times: true, names: true, left: 6 };
  // The first block has the initial dose before it, which needs the room.
  if (k < 1) return { ...frame, fromMs: -50_000, toMs: 2 * run.exerciseMs + 4_000 };
  const first = Math.max(0, Math.min(k - 1, run.exercises.length - 3));
  return { ...frame, fromMs: first * run.exerciseMs - 4_000, toMs: (first + 3) * run.exerciseMs + 4_000 };
}

/**
 * @param {StripRun} run
 * @param {StripFrame} f
 * @returns {Shape[]}
 */
export function strip(run, f) {
  /** @type {Shape[]} */
  const out = [];
  const x = (/** @type {number} */ ms) => round(f.left + ((ms - f.fromMs) / (f.toMs - f.fromMs)) * (f.width - f.left - 6));
  const inside = (/** @type {number} */ ms) => ms >= f.fromMs && ms <= f.toMs;
  const foot = (f.names ? 24 : 4) + (f.times ? 20 : 0) + 12;
  const base = f.height - foot;
  const top = 60;
  // Room for a level up to 1.45 under the pips, as other half-lives give.
  const y = (/** @type {number} */ l) => round(base - (l * (base - top)) / 1.2);
  /** @param {Shape["tag"]} tag @param {string} cls @param {Record<string, number|string>} at @param {string} [text] */
  const put = (tag, cls, at, text) => out.push(text === undefined ? { tag, cls, at } : { tag, cls, at, text });

  const n = run.exercises.length;
  const current = run.nowMs === null || run.ended ? -1 : Math.min(n - 1, Math.floor(run.nowMs / run.exerciseMs));
  if (current >= 0) {
    const a = x(Math.max(f.fromMs, current * run.exerciseMs));
    put("rect", "s-now", { x: a, y: 0, width: round(x(Math.min(f.toMs, (current + 1) * run.exerciseMs)) - a), height: f.height });
  }
  for (let e = 0; e <= n; e++) {
    const ms = e * run.exerciseMs;
    if (!inside(ms)) continue;
    put("line", e === 0 || e === n ? "s-edge" : "s-block", { x1: x(ms), x2: x(ms), y1: 12, y2: base });
    if (f.times) put("text", "s-time", { x: x(ms), y: f.height - 7, "text-anchor": e === n ? "end" : "middle" }, `${e}:00`);
  }
  for (let e = 0; e < n; e++) {
    const mid = (e + 0.5) * run.exerciseMs;
    if (inside(mid)) put("line", "s-half", { x1: x(mid), x2: x(mid), y1: top - 12, y2: base });
    if (f.names && inside(mid)) {
      put("text", e === current ? "s-name s-name-now" : "s-name", { x: x(mid), y: base + 28, "text-anchor": "middle" }, exercise(run.exercises[e] ?? "").short);
    }
  }
  levels(run, f, { x, y, base }, put);
  if (run.initial && f.fromMs < -20_000) pips(run.initial, run, x(0), true, put);
  for (const d of run.topUps) if (d.dueMs >= f.fromMs && d.dueMs + 20_000 <= f.toMs) pips(d, run, x(d.dueMs), false, put, run.ended && run.nowMs !== null ? x(run.nowMs) : Number.POSITIVE_INFINITY);
  put("line", "s-axis", { x1: x(Math.max(0, f.fromMs)), x2: x(Math.min(run.lengthMs, f.toMs)), y1: base, y2: base });
  if (run.nowMs !== null && inside(run.nowMs)) {
    const at = x(run.nowMs);
    put("line", "s-hand", { x1: at, x2: at, y1: 4, y2: base + 4 });
    if (run.ended) put("text", "s-mark", at > f.width - 40 ? { x: at - 6, y: base - 6, "text-anchor": "end" } : { x: at + 6, y: base - 6 }, run.mark);
    else put("path", "s-foot", { d: `M${at - 8} ${base + 14}l8 -11l8 11z` });
  }
  return out;
}

/**
 * @param {StripRun} run
 * @param {StripFrame} f
 * @param {{x: (ms: number) => number, y: (l: number) => number, base: number}} on
 * @param {(tag: Shape["tag"], cls: string, at: Record<string, number|string>, text?: string) => void} put
 */
function levels(run, f, on, put) {
  const { x, y } = on;
  put("line", "s-full", { x1: x(Math.max(0, f.fromMs)), x2: x(Math.min(run.lengthMs, f.toMs)), y1: y(1), y2: y(1) });
  if (f.left >= 50) {
    put("text", "s-level-name", { x: 8, y: y(1) + 5 }, t("run.strip.full"));
    put("text", "s-level-name", { x: 8, y: y(0.5) + 5 }, t("run.strip.half"));
    put("text", "s-model-name", { x: 8, y: on.base + 4 }, t("run.strip.modelled"));
  }
  const dose = run.initial?.required ?? 0;
  if (run.nowMs === null || dose <= 0 || run.squeezesMs.length === 0) return;
  const from = Math.max(f.fromMs, Math.min(0, ...run.squeezesMs));
  const to = Math.min(run.nowMs, f.toMs);
  if (to <= from) return;
  const points = levelPoints(run.squeezesMs, dose, run.halfLifeMs || defaultHalfLifeMs, from, to);
  const line = points.map((p, i) => `${i === 0 ? "M" : "L"}${x(p.t)} ${y(p.l)}`).join("");
  put("path", "s-level-area", { d: `${line}L${x(to)} ${on.base}L${x(from)} ${on.base}Z` });
  put("path", "s-level", { d: line });
}

/**
 * @param {StripDose} d
 * @param {StripRun} run
 * @param {number} at     where the dose is due
 * @param {boolean} before the pips stand before that instant, not after
 * @param {(tag: Shape["tag"], cls: string, at: Record<string, number|string>, text?: string) => void} put
 * @param {number} [end]  where the run stopped: nothing was given after it
 */
function pips(d, run, at, before, put, end = Number.POSITIVE_INFINITY) {
  const pitch = 11.5;
  const room = Math.floor((at - 20) / pitch) + 1;
  const perRow = before ? Math.min(room, d.required > 20 ? 10 : d.required > 10 ? 7 : 5) : 5;
  // A pip is wider than a squeeze takes: a dose that the end cut off moves to the left of it.
  const given = Math.max(Math.min(d.given, perRow), Math.min(d.extra, 5));
  const left = before ? at - 10 - (perRow - 1) * pitch : given > 0 ? Math.min(at + 9, end - 6 - (given - 1) * pitch) : at + 9;
  const shut = d.dueMs >= 0 && run.nowMs !== null && run.nowMs >= d.shutMs;
  for (let i = 0; i < d.required; i++) {
    const cx = round(left + (i % perRow) * pitch);
    const cy = 27 + Math.floor(i / perRow) * 12;
    const given = i < d.given;
    put("circle", given ? "s-pip s-pip-given" : shut ? "s-pip s-pip-missed" : "s-pip", { cx, cy, r: 4.4 });
    if (!given && shut) put("path", "s-cross", { d: `M${cx - 5} ${cy - 5}l10 10m0 -10l-10 10` });
  }
  for (let i = 0; i < Math.min(d.extra, 5); i++) put("circle", "s-pip s-pip-given s-pip-extra", { cx: round(left + i * pitch), cy: 12, r: 3.6 });
  if (d.extra > 5) put("text", "s-time", { x: round(left + 5 * pitch), y: 16 }, `+${d.extra}`);
}

/** @param {number} v */
function round(v) {
  return Math.round(v * 10) / 10;
}

/**
 * The strip's run from a snapshot's.
 * @param {import("./contract.js").Run} run
 * @param {number|null} clockMs
 * @param {string} mark
 * @returns {StripRun}
 */
export function ofRun(run, clockMs, mark) {
  const dose = (/** @type {import("./contract.js").Dose} */ d) => ({
    n: d.n, required: d.required, given: d.given, extra: d.extra, dueMs: d.n === 0 ? -1 : d.due_ms, shutMs: d.shut_ms,
  });
  // Before the fit test the bin says what it will begin with: the bin is named
  // for its initial dose (29 CFR 1910.134, Appendix A, Part I.B.3(b), B.4(b)).
  const waits = run.screening.bin > 0 && (run.stage === "clearing" || run.stage === "donning");
  const coming = waits ? { n: 0, required: run.screening.bin, given: 0, extra: 0, dueMs: -1, shutMs: 0 } : null;
  return {
    lengthMs: run.length_ms, exerciseMs: run.exercise_ms, exercises: run.exercises, initial: run.initial ? dose(run.initial) : coming,
    topUps: run.top_ups.map(dose), squeezesMs: run.squeezes_ms, halfLifeMs: run.half_life_ms, nowMs: clockMs,
    ended: clockMs !== null && !run.ticking, mark,
  };
}
