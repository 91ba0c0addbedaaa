// SPDX-License-Identifier: Apache-2.0

// What the Gallery shows of several boards: how evenly and how late each dose is
// given, remarks as they happen, and one sentence for a classroom. Pure.

import { exerciseOf, openDose, runClock } from "./state.js";

/** @typedef {import("./contract.js").Snapshot} Snapshot */
/** @typedef {import("./contract.js").Run} Run */
/** @typedef {import("./contract.js").Dose} Dose */

/**
 * A board as the page knows it: atMs is the age of its snapshot now.
 * @typedef {{name: string, own: boolean, state: "live"|"lost"|"refused"|"other", snap: Snapshot|null, ageMs: number}} Board
 */

/** Boards send four snapshots a second; after so long without one they are greyed, on the screen within two seconds. */
export const deadAfterMs = 1500;

/** Whether what is shown of a board is old. @param {Board} b */
export const dead = (b) => b.snap === null || b.state !== "live" || b.ageMs > deadAfterMs;

/** Between squeezes of one dose; shorter ones leave the bulb no time to fill (a house limit). */
export const hurriedMs = 500;

/** @param {number[]} of @returns {number} */
export function median(of) {
  const s = [...of].sort((a, b) => a - b);
  const mid = Math.floor(s.length / 2);
  if (s.length === 0) return Number.NaN;
  return s.length % 2 ? /** @type {number} */ (s[mid]) : (/** @type {number} */ (s[mid - 1]) + /** @type {number} */ (s[mid])) / 2;
}

/** Squeezes that fell into a dose, oldest first. @param {Run} run @param {Dose} d */
export function squeezesOf(run, d) {
  const all = [...run.squeezes_ms].sort((a, b) => a - b);
  return d.n === 0 ? all.filter((s) => s <= 0) : all.filter((s) => s >= d.open_ms && s < d.shut_ms);
}

/**
 * Seconds between the squeezes of the present dose (or the last one that had
 * any) and how long after it fell due each top-up was complete. Times in
 * milliseconds; null where there is nothing to say. Worst: the shortest time
 * between two squeezes, the latest completion.
 * @param {Run} run
 * @param {number|null} clockMs
 * @returns {{dose: number|null, between: {median: number, worst: number, hurried: boolean}|null, lateness: {median: number, worst: number, done: number}|null}}
 */
export function cadence(run, clockMs) {
  const doses = [...(run.initial ? [run.initial] : []), ...run.top_ups];
  const now = openDose(run, clockMs);
  let dose = now;
  if (!now || squeezesOf(run, now).length < 2) dose = doses.filter((d) => (d.n === 0 || d.open_ms <= (clockMs ?? -1)) && squeezesOf(run, d).length >= 2).at(-1) ?? now;
  const at = dose ? squeezesOf(run, dose) : [];
  const gaps = at.slice(1).map((s, i) => s - /** @type {number} */ (at[i]));
  /** @type {number[]} */
  const late = [];
  for (const d of run.top_ups) {
    const done = d.given >= d.required && d.required > 0 ? squeezesOf(run, d)[d.required - 1] : undefined;
    if (done !== undefined) late.push(Math.max(0, done - d.due_ms));
  }
  return {
    dose: dose?.n ?? null,
    between: gaps.length ? { median: median(gaps), worst: Math.min(...gaps), hurried: Math.min(...gaps) < hurriedMs } : null,
    lateness: late.length ? { median: median(late), worst: Math.max(...late), done: late.length } : null,
  };
}

/**
 * Something that happened on a board. Key: its phrase; n, what: what the phrase
 * speaks of.
 * @typedef {{board: string, run: string, atMs: number|null, key: "late"|"hurried"|"extra"|"fault"|"note"|"verdict", n: number, what: string}} Remark
 */

/**
 * When a remark on a dose arose, on the run clock.
 * @param {Run} run @param {Dose} d @param {string} what @returns {number|null}
 */
function since(run, d, what) {
  const at = squeezesOf(run, d);
  if (what === "late") return at[d.required - 1] ?? null;
  if (what === "extra") return at[d.required] ?? null;
  const i = at.findIndex((s, k) => k > 0 && s - /** @type {number} */ (at[k - 1]) < hurriedMs);
  return i < 0 ? null : (at[i] ?? null);
}

/**
 * What a snapshot tells that the one before it did not, oldest first. A page
 * that has just come begins with all remarks of the run.
 * @param {string} board
 * @param {Snapshot|null} before
 * @param {Snapshot} after
 * @returns {Remark[]}
 */
export function remarksOf(board, before, after) {
  const run = after.run;
  if (run === null) return [];
  const was = before?.run?.run === run.run ? before.run : null;
  /** @type {Remark[]} */
  const out = [];
  /** @param {number|null} atMs @param {Remark["key"]} key @param {number} n @param {string} what */
  const put = (atMs, key, n, what) => out.push({ board, run: run.run, atMs, key, n, what });
  // Where the squeezes do not tell when (a count was corrected): when it was seen.
  const seen = (/** @type {Dose} */ d) => (was || run.run_ms === null ? run.run_ms : Math.min(run.run_ms, d.n === 0 ? 0 : d.shut_ms));
  for (const d of [...(run.initial ? [run.initial] : []), ...run.top_ups]) {
    const had = (d.n === 0 ? was?.initial : was?.top_ups.find((x) => x.n === d.n))?.remarks ?? [];
    for (const r of d.remarks) if (!had.includes(r) && (r === "late" || r === "hurried" || r === "extra")) put(since(run, d, r) ?? seen(d), r, d.n, "");
  }
  for (const f of run.faults) if (!was?.faults.includes(f)) put(run.run_ms, "fault", 0, f);
  const gap = was === null ? Number.POSITIVE_INFINITY : noteGap(was, run);
  for (const n of run.notes) if (n.ago_ms < gap) put(run.run_ms === null ? null : run.run_ms - n.ago_ms, "note", 0, n.why);
  if (run.verdict && !was?.verdict) put(run.run_ms, "verdict", 0, run.verdict.outcome);
  return out.sort((a, b) => (a.atMs ?? 0) - (b.atMs ?? 0));
}

/**
 * The age below which notes are new: the time between the snapshots, told by
 * the stage or the run clock, whichever went on. A new note brings a snapshot
 * at once, so the millisecond of rounding takes none away.
 * @param {Run} was @param {Run} run
 */
function noteGap(was, run) {
  if (was.stage === run.stage) return run.stage_ms - was.stage_ms - 1;
  if (was.run_ms !== null && run.run_ms !== null && run.run_ms > was.run_ms) return run.run_ms - was.run_ms - 1;
  return run.stage_ms + 1; // what came since the stage began
}

/** The longest running list. */
export const mostRemarks = 200;

/**
 * The running list with what is new, newest first.
 * @param {Remark[]} list @param {Remark[]} news oldest first
 */
export function added(list, news) {
  return [...[...news].reverse(), ...list].slice(0, mostRemarks);
}

/**
 * What happens next and why, as the key of a phrase and its values, for people
 * who watch and learn.
 * @param {Snapshot} snap
 * @param {number} ageMs
 * @returns {{key: string, n: number, atMs: number, exercise: string}}
 */
export function lesson(snap, ageMs) {
  const run = snap.run;
  const say = (/** @type {string} */ key, n = 0, atMs = 0, exercise = "") => ({ key, n, atMs, exercise });
  if (run === null) return say("none");
  if (run.verdict) return say(run.stage === "proving_mist" ? "proving_mist" : run.verdict.outcome);
  if (run.stage === "over" || run.ending) return say("ending");
  if (run.stage === "dosing") return say("dosing", Math.max(0, (run.initial ?? run.dose)?.required ?? 0));
  const clockMs = runClock(snap, ageMs);
  if (run.stage !== "running" || clockMs === null) return say(run.stage);
  const d = openDose(run, clockMs);
  const left = d ? d.required - d.given : 0;
  if (d && left > 0 && clockMs >= d.due_ms) return say("due", left, d.shut_ms);
  const n = exerciseOf(run, clockMs).number;
  const turn = (n + 1) * run.exercise_ms;
  const next = run.exercises[n + 1];
  const dose = run.top_ups.find((t) => t.due_ms > clockMs && t.given < t.required);
  if (next !== undefined && turn - clockMs <= 12_000 && !(dose && dose.due_ms < turn)) return say(`to_${next}`, 0, turn, next);
  if (dose) return say("waiting", dose.required - dose.given, dose.due_ms);
  return say("last", 0, run.length_ms);
}
