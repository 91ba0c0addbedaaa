// SPDX-License-Identifier: Apache-2.0

// What the Wearer's page shows, from its snapshot and what the page remembers.
// Pure. It gives no count, no level, no verdict, and no name but the wearer's
// own while that is asked about.

import { exerciseOf, runClock, staleAfterMs } from "./state.js";

/** Ticks of the ring: five seconds each in an exercise of a minute. */
export const ticksOf = 12;

/**
 * What the page remembers.
 * @typedef {object} Own
 * @property {string} typed                       digits so far
 * @property {""|"wrong"|"later"|"ended"} said     of the last code
 * @property {""|"yes"|"no"} answered             to the name, until a snapshot says it too
 * @property {boolean} unsent                     the answer did not arrive
 */
/**
 * @typedef {object} Sees
 * @property {string} key       pair, name, tell, none, lost, running or a stage
 * @property {string} words     key of title and hint in the words of this page
 * @property {string} figure
 * @property {""|"press_any"|"press_soon"|"press_spoken"|"press_mist"} press the one reminder
 * @property {number|null} left ticks of the ring that are to come; null: no ring
 * @property {"in"|"out"|""} breath
 * @property {{id: "yard"|"water", part: number}|null} passage part: of the time for it that has gone, 0 to 1
 * @property {string} name      to be confirmed; else empty
 * @property {boolean} stale
 */

/** One slow breath: in for four seconds, out for six; six a minute. */
export const breathInMs = 4000;
export const breathOutMs = 6000;

/** @param {number} clockMs @returns {"in"|"out"} */
export function breath(clockMs) {
  return clockMs % (breathInMs + breathOutMs) < breathInMs ? "in" : "out";
}

/** @type {Record<string, Sees["press"]>} */
const reminders = { screening: "press_soon", dosing: "press_any", running: "press_any", proving_button: "press_spoken", proving_mist: "press_mist", lost: "press_any" };

/** Stages in which somebody may still be the wrong person. */
const named = new Set(["ready", "clearing", "donning"]);

/**
 * @param {import("./contract.js").Snapshot|null} snap
 * @param {number} ageMs
 * @param {Own} own
 * @returns {Sees}
 */
export function wearerSees(snap, ageMs, own) {
  /** @param {string} key @param {Partial<Sees>} [over] @returns {Sees} */
  const sees = (key, over = {}) => ({ key, words: key, figure: key, press: reminders[key] ?? "", left: null, breath: "", passage: null, name: "", stale: false, ...over });
  if (snap === null || ageMs > staleAfterMs) return sees("lost", { stale: true });
  if (snap.pairing === "needed") return sees("pair");
  const run = snap.run;
  if (run === null) return sees("none");
  if (named.has(run.stage)) {
    if (run.name_said === "no" || (run.name_said === "" && own.answered === "no")) return sees("tell", { words: "name_no" });
    if (run.name_said === "" && run.wearer !== "") return sees("name", { name: run.wearer });
  }
  const clockMs = runClock(snap, ageMs);
  if (run.stage === "running" && clockMs !== null) {
    const n = exerciseOf(run, clockMs).number;
    const id = run.exercises[n] ?? "";
    const gone = clockMs - n * run.exercise_ms;
    return sees("running", {
      words: id, figure: id, left: Math.max(0, ticksOf - Math.floor((gone / run.exercise_ms) * ticksOf)),
      breath: id === "deep_breathing" ? breath(gone) : "",
      passage: id === "talking" ? { id: passageOf(run.run), part: Math.min(1, gone / run.exercise_ms) } : null,
    });
  }
  if (run.stage === "donning" && run.need_ms > 0) {
    const wait = Math.max(0, run.wait_ms - Math.min(ageMs, staleAfterMs) * snap.speed);
    return sees("donning", { left: Math.ceil((wait / run.need_ms) * ticksOf) });
  }
  return sees(run.stage);
}

/**
 * Which of the two passages a run gets: the same on every screen.
 * @param {string} run
 * @returns {"yard"|"water"}
 */
export function passageOf(run) {
  let sum = 0;
  for (const c of run) sum += c.codePointAt(0) ?? 0;
  return sum % 2 === 0 ? "yard" : "water";
}

/**
 * The line that somebody reading evenly has come to: a line takes time as it
 * has letters.
 * @param {string[]} lines
 * @param {number} part of the time, 0 to 1
 */
export function lineAt(lines, part) {
  const all = lines.reduce((n, l) => n + l.length, 0);
  let sum = 0;
  for (const [i, l] of lines.entries()) {
    sum += l.length;
    if (part * all < sum) return i;
  }
  return Math.max(0, lines.length - 1);
}

/**
 * The language of the page: chosen on this screen, else the wearer's own as the
 * box knows it, else as the page was opened.
 * @param {string} chosen
 * @param {import("./contract.js").Snapshot|null} snap
 * @param {string} opened
 * @param {{code: string}[]} among
 */
export function languageOf(chosen, snap, opened, among) {
  return [chosen, snap?.run?.wearer_language ?? "", opened].find((l) => among.some((x) => x.code === l)) ?? "en";
}
