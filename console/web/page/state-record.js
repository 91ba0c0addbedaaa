// SPDX-License-Identifier: Apache-2.0

// What a record's screen is drawn from: pure.

import { marks } from "./state.js";
import { defaultHalfLifeMs, wide } from "./strip.js";
import { exercises } from "./words.js";

/** @typedef {{n: number, due_s: number, required: number, given: number, extra: number, doubtful: number, added: number, taken: number, first_s: number|null, done_s: number|null, remarks: string[]}} TopUp */
/** @typedef {{required: number, given: number, doubtful: number, added: number, taken: number, remarks: string[]}} Initial */
/** @typedef {{initial: Initial, top_ups: TopUp[], exercises: {id: string, start_s: number, end_s: number}[], taste_s: number|null, taste_exercise: string|null, squeezes_total: number, duration_s: number|null, level: {mean: number, min: number}|null, squeezes_s?: number[]}} Fit */
/** @typedef {{schema: string, outcome: string, reason: string, rules: string, agent: string, screening: {squeezes: number, doubtful: number, bin: number}, fit: Fit|null, proof?: string|null, corrections?: {part: string, top_up: number, delta: number, reason: string}[], inputs: {squeeze: number, taste: number, step: number, noise_edges: number, supervised: boolean, faults: string[]}}} Record */
/** @typedef {string|{name?: string, make?: string, model?: string, style?: string, size?: string, whose?: string}} Who */
/** @typedef {{run: string, opened: string, wearer: Who, facepiece: Who, outcome: string, reason: string, practice: string}} Line */
/** @typedef {{run: string, wearer: Who, facepiece: Who, tester: string, opened: string, practice: string, squeezes_s?: number[], hash: string, number: number|string, prevails: string, rules_name: string, record: Record}} Full */

/** A person or facepiece in words. @param {Who} w */
export function whoOf(w) {
  if (typeof w === "string") return w;
  return [w.name, w.make, w.model, w.style, w.size, w.whose].filter(Boolean).join(", ");
}

/** Wall time as it was stored, without the seconds. @param {string|undefined} rfc3339 */
export function when(rfc3339) {
  const m = /^(\d{4}-\d\d-\d\d)T(\d\d:\d\d)/.exec(rfc3339 ?? "");
  return m ? `${m[1]} ${m[2]}` : "";
}

/**
 * The whole strip of a record.
 * @param {Full} full
 * @returns {{strip: import("./strip.js").StripRun, frame: import("./strip.js").StripFrame}}
 */
export function ofRecord(full) {
  const f = full.record.fit;
  const nowMs = f?.duration_s == null ? null : f.duration_s * 1000;
  const known = f?.exercises ?? [];
  const ids = Object.keys(exercises);
  const first = known[0];
  // The first exercise's length is the rule's, unless the run ended in it.
  const exerciseMs = known.length > 1 && first ? (first.end_s - first.start_s) * 1000 : 60_000;
  const squeezes = full.squeezes_s ?? f?.squeezes_s ?? [];
  return {
    strip: {
      lengthMs: exerciseMs * ids.length, exerciseMs, exercises: ids.map((id, i) => known[i]?.id ?? id),
      initial: f && { n: 0, required: f.initial.required, given: f.initial.given, extra: 0, dueMs: -1, shutMs: 0 },
      // A window that had not shut at the end is not a missed one.
      topUps: (f?.top_ups ?? []).map((d) => ({ n: d.n, required: d.required, given: d.given, extra: d.extra, dueMs: d.due_s * 1000, shutMs: d.due_s * 1000 + 25_000 })),
      squeezesMs: squeezes.map((s) => s * 1000), halfLifeMs: defaultHalfLifeMs, nowMs, ended: true, mark: marks[full.record.outcome] ?? "",
    },
    frame: wide,
  };
}

/**
 * Checks as much of a record as the screen stands on; throws an Error that names what is missing.
 * @param {unknown} value
 * @returns {Full}
 */
export function readRecord(value) {
  const v = /** @type {Full|null} */ (value);
  if (v?.record?.schema !== "tallyhood.record/1") throw new Error("not a record that this page knows");
  for (const part of /** @type {const} */ (["screening", "inputs"])) if (!v.record[part]) throw new Error(`the record has no ${part}`);
  return v;
}
