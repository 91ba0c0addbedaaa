// SPDX-License-Identifier: Apache-2.0

// What the Drill page is drawn from: pure. It computes no score: that is the
// box's.

import { ApiError } from "./api.js";
import { figure, t } from "./lang.js";
import { exercise, lookUp, outcomes } from "./words.js";

/** @typedef {{key: string, leaky: number, hairline: number, insensitive: boolean, least: number, most: number, quick_s: number, slow_s: number}} Level */
/** @typedef {{key: string, stage: string, sees: string, right: string, by_s: number, outcome: string, reason: string, rule: string}} Trouble */
/** @typedef {{key: string, values: number[], says: string, source: string}} Assumption */
/** @typedef {{key: string, points: number, most: number, rule: string, why: string}} Weight */
/** @typedef {{levels: Level[], troubles: Trouble[], assumptions: Assumption[], weights: Weight[]}} Offer */
/** @typedef {{run: string, trainee: string, opened: string, level: string, troubles: string[], scored: boolean, unscored: string, points: number, outcome: string, reason: string, against: string}} Line */
/** @typedef {{drills: Line[], trainees: string[], more: boolean}} List */
/** @typedef {{key: string, times: number, points: number, rule: string, about: string}} Item */
/** @typedef {{n: number, trouble: string, at_s: number, right: string, by_s: number, did: string, after_s: number|null, grade: string, ends: boolean}} Reaction */
/** @typedef {{exercise: string, number: number, times: number, from_s: number}} Worse */
/** @typedef {{name: string, other_name: string, squeezes: number, leak: number, worse: Worse[], fits: boolean, reaction_s: number, clear_s: number}} Truth */
/** @typedef {{required: number, given: number, extra: number, due_s: number, shut_s: number}} SheetDose */
/** @typedef {{required: number, given: number, extra: number, late_mid_s: number|null, late_worst_s: number|null, cadence_s: number|null, hurried: number|null}} Rhythm */
/** @typedef {{t_s: number, taste: number}} Point */
/**
 * @typedef {{run: string, practice: string, trainee: string, opened: string, ask: {seed: string, level: string, troubles: string[]}, rules: string, agent: string, facepiece: string, scored: boolean, unscored: string,
 *   points: number, items: Item[], outcome: string, reason: string, right: string, against: string, reactions: Reaction[], rhythm: Rhythm, truth: Truth|null, threshold: number, bin: number,
 *   curve: Point[], tasted_s: number|null, end_s: number|null, length_s: number, exercises: string[], doses: SheetDose[], squeezes_s: number[]}} Sheet
 */
/** @typedef {{trainer: string, outcome: string, acts: {n: number, acts: boolean}[], note: string, wall: string}} Judged */
/** @typedef {{sheet: Sheet, judged: Judged[]}} Page */
/** @typedef {{both: number, trainee: number, trainer: number, neither: number, share: number, defined: boolean, kappa: number, lo: number, hi: number, few: boolean}} Agreed */
/** @typedef {{trainee: string, drills: number, verdicts: Agreed, reactions: Agreed}} Agreement */
/** @typedef {import("./strip.js").Shape} Shape */

/** What may be entered as the outcome. */
export const allOutcomes = ["pass", "fail", "not_valid", "cannot_taste"];

/**
 * An answer of the box, once it has the lists that a page goes through.
 * @template T
 * @param {unknown} v
 * @param {string[]} lists names of them, with dots into the answer
 * @returns {T}
 */
export function read(v, ...lists) {
  for (const path of lists) {
    /** @type {any} */
    let at = v;
    for (const part of path.split(".")) at = at?.[part];
    if (!Array.isArray(at)) throw new ApiError(200, "", `${path} is no list`);
  }
  return /** @type {T} */ (v);
}

/** @param {unknown} v @returns {Offer} */
export const readOffer = (v) => read(v, "levels", "troubles", "assumptions", "weights");
/** @param {unknown} v @returns {List} */
export const readList = (v) => read(v, "drills", "trainees");
/** @param {unknown} v @returns {Page} */
export const readPage = (v) => read(v, "judged", "sheet.items", "sheet.reactions", "sheet.curve", "sheet.doses", "sheet.squeezes_s", "sheet.exercises");
/** @param {unknown} v @returns {Agreement[]} */
export const readAgreements = (v) => /** @type {{agreements: Agreement[]}} */ (read(v, "agreements")).agreements;

/**
 * What goes wrong, as a command asks for it: nothing chosen lets the level choose.
 * @param {"surprise"|"none"|"own"} wrong
 * @param {string[]} chosen
 */
export function troublesOf(wrong, chosen) {
  return wrong === "surprise" ? [] : wrong === "none" ? ["none"] : chosen;
}

/** A seed from bytes of chance: ten letters and digits that read without mistake. @param {Uint8Array} bytes */
export function seedOf(bytes) {
  const letters = "23456789abcdefghjkmnpqrstuvwxyz";
  return Array.from(bytes.slice(0, 10), (b) => letters[b % letters.length]).join("");
}

/** The run clock as people read it. @param {number} s */
export function clock(s) {
  const whole = Math.max(0, Math.floor(s));
  return `${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")}`;
}

/** The wall time of a drill, as its record has it. @param {string} opened */
export const when = (opened) => opened.slice(0, 16).replace("T", " ");

/** The share that came through, as one in so many. @param {number} leak */
export const partOf = (leak) => (leak > 0 ? figure(leak > 0.001 ? Math.round(1 / leak) : Math.round(1 / leak / 100) * 100) : "∞");

/** What the hidden fit was, in a sentence. @param {Truth} truth */
export function fitSays(truth) {
  const worst = [...truth.worse].sort((a, b) => b.times - a.times)[0];
  if (truth.fits) return t("drill.truth.fits", { part: partOf(truth.leak) });
  if (truth.leak > 0.001 || !worst) return t("drill.truth.leaks", { part: partOf(truth.leak) });
  return t("drill.truth.hairline", { part: partOf(truth.leak), times: figure(Math.round(worst.times)), exercise: exercise(worst.exercise).name });
}

/** What happened about a trouble, in words. @param {Reaction} r */
export function didSays(r) {
  if (r.grade === "cut_off" || r.grade === "missed" || r.after_s === null || r.did === "") return t(`drill.grade.${r.grade}`);
  return `${t(`drill.grade.${r.grade}`)}, ${t("drill.after", { s: figure(r.after_s, 0, 1) })}`;
}

/** @param {string} outcome */
export const outcomeSays = (outcome) => (outcome === "" ? "" : lookUp(outcomes, outcome));

/** The strip of a sheet. @param {Sheet} s @param {string} mark @returns {import("./strip.js").StripRun} */
export function stripOf(s, mark) {
  const dose = (/** @type {SheetDose} */ d, /** @type {number} */ n) => ({
    n, required: d.required, given: d.given, extra: d.extra, dueMs: d.due_s < 0 ? -1 : d.due_s * 1000, shutMs: d.shut_s * 1000,
  });
  const [first, ...rest] = s.doses.map(dose);
  return {
    lengthMs: s.length_s * 1000, exerciseMs: (s.length_s * 1000) / Math.max(1, s.exercises.length), exercises: s.exercises, initial: first ?? null, topUps: rest,
    squeezesMs: s.squeezes_s.map((q) => q * 1000), halfLifeMs: 30_000, nowMs: s.end_s === null ? null : s.end_s * 1000, ended: true, mark,
  };
}

/** Least and greatest of the curve's axis, as powers of ten of the threshold. */
const decades = { least: -3, most: 2 };

/**
 * What came through against the threshold, over the same time axis as the
 * strip's. The axis is logarithmic: a good fit and a leak lie decades apart.
 * @param {Sheet} s
 * @param {import("./strip.js").StripFrame} f
 * @returns {Shape[]}
 */
export function curveShapes(s, f) {
  /** @type {Shape[]} */
  const out = [];
  const base = f.height - 24;
  const x = (/** @type {number} */ ts) => round(f.left + ((ts * 1000 - f.fromMs) / (f.toMs - f.fromMs)) * (f.width - f.left - 6));
  const y = (/** @type {number} */ taste) => {
    const p = taste > 0 ? Math.log10(taste) : decades.least;
    return round(base - ((Math.min(decades.most, Math.max(decades.least, p)) - decades.least) / (decades.most - decades.least)) * (base - 10));
  };
  for (let p = decades.least; p <= decades.most; p++) {
    const at = y(10 ** p);
    out.push({ tag: "line", cls: p === 0 ? "d-threshold" : "d-decade", at: { x1: x(0), x2: x(s.length_s), y1: at, y2: at } });
    if (p === 0) out.push({ tag: "text", cls: "s-level-name", at: { x: 4, y: at + 5 }, text: t("drill.curve.threshold") });
  }
  const long = s.length_s / Math.max(1, s.exercises.length);
  for (let e = 0; e <= s.exercises.length; e++) {
    out.push({ tag: "line", cls: e === 0 || e === s.exercises.length ? "s-edge" : "s-block", at: { x1: x(e * long), x2: x(e * long), y1: 10, y2: base } });
    out.push({ tag: "text", cls: "s-time", at: { x: x(e * long), y: f.height - 5, "text-anchor": e === s.exercises.length ? "end" : "middle" }, text: clock(e * long) });
  }
  const line = s.curve.map((p, i) => `${i === 0 ? "M" : "L"}${x(p.t_s)} ${y(p.taste)}`).join("");
  if (line) out.push({ tag: "path", cls: "d-taste", at: { d: line } });
  if (s.tasted_s !== null) out.push({ tag: "line", cls: "s-hand", at: { x1: x(s.tasted_s), x2: x(s.tasted_s), y1: 10, y2: base } });
  return out;
}

/** What the curve tells, in words. @param {Sheet} s */
export const curveSays = (s) => (s.tasted_s === null ? t("drill.curve.never") : t("drill.curve.tasted", { at: clock(s.tasted_s) }));

/** Drills in one chart at most. */
const mostBars = 40;

/**
 * Scores as a row of posts, the newest on the right; one that is not scored is
 * an empty foot.
 * @param {Line[]} lines newest first
 * @returns {{shapes: Shape[], width: number, height: number, n: number}}
 */
export function historyShapes(lines) {
  const shown = lines.filter((l) => l.unscored !== "open").slice(0, mostBars).reverse();
  const height = 150;
  const base = height - 14;
  const left = 44;
  const width = 620;
  const pitch = Math.min(40, (width - left - 10) / Math.max(1, shown.length));
  const y = (/** @type {number} */ points) => round(base - (points / 100) * (base - 22));
  /** @type {Shape[]} */
  const shapes = [];
  for (const p of [0, 50, 100]) {
    shapes.push({ tag: "line", cls: p === 0 ? "s-axis" : "d-decade", at: { x1: left, x2: width - 4, y1: y(p), y2: y(p) } });
    shapes.push({ tag: "text", cls: "s-time", at: { x: left - 8, y: y(p) + 5, "text-anchor": "end" }, text: String(p) });
  }
  for (const [i, l] of shown.entries()) {
    const at = round(left + (i + 0.5) * pitch);
    if (!l.scored) {
      shapes.push({ tag: "path", cls: "d-unscored", at: { d: `M${at - 4} ${base - 9}l8 8m0 -8l-8 8` } });
      continue;
    }
    shapes.push({ tag: "line", cls: "d-post", at: { x1: at, x2: at, y1: base, y2: y(l.points) } });
    shapes.push({ tag: "circle", cls: l.outcome === "pass" && l.against === "false_pass" ? "d-head d-hollow" : "d-head", at: { cx: at, cy: y(l.points), r: 5 } });
    if (shown.length <= 20) shapes.push({ tag: "text", cls: "s-time", at: { x: at, y: y(l.points) - 10, "text-anchor": "middle" }, text: String(l.points) });
  }
  return { shapes, width, height, n: shown.length };
}

/** Agreement in words. @param {Agreed} a */
export function kappaSays(a) {
  const n = a.both + a.trainee + a.trainer + a.neither;
  if (n === 0) return "–";
  const of = t("drill.agreement.of", { same: figure(a.both + a.neither), n: figure(n) });
  const k = a.defined ? t("drill.agreement.kappa", { kappa: figure(a.kappa, 2), lo: figure(a.lo, 2), hi: figure(a.hi, 2) }) : t("drill.agreement.undefined");
  return a.few ? `${k}; ${of}; ${t("drill.agreement.few")}` : `${k}; ${of}`;
}

/** @param {number} v */
function round(v) {
  return Math.round(v * 10) / 10;
}
