// SPDX-License-Identifier: Apache-2.0

// A review as a player has it: which instant, playing or not, how fast, and what
// is shown and heard there. Pure: time comes in as milliseconds that went by.

/** @typedef {import("./contract.js").Run} Run */
/** @typedef {import("./contract.js").Snapshot} Snapshot */
/** @typedef {{at_ms: number, facts: string[], run: Run}} Frame */
/** @typedef {{at_ms: number, kind: string, key: string, top_up: number, text: string, by?: string}} Moment by: whose word it is; a review that was saved earlier has none */
/** @typedef {{at_ms: number, cue: string}} Cue */
/** @typedef {{run: string, opened: string, masked: boolean, practice: string, outcome: string, reason: string, recalled?: import("./state-record.js").Recalled|null, hash: string, supervised: boolean, length_ms: number, clock_ms: number|null, stages: {at_ms: number, stage: string}[], frames: Frame[], moments: Moment[], cues: Cue[]}} Review */
/** @typedef {{review: Review, from: number}} Track a review and the instant of the common axis at which it was opened */
/** @typedef {{tracks: Track[], length: number, at: number, playing: boolean, speed: number, muted: boolean}} Player */

/** Speeds, slowest first. */
export const speeds = [0.5, 1, 2, 4, 8, 16];

/**
 * Reads a review, whole or with frames that hold only what changed. Throws an
 * Error that says what is missing.
 * @param {unknown} value
 * @returns {Review}
 */
export function readReview(value) {
  const v = /** @type {Review|null} */ (value);
  if (typeof v?.run !== "string" || typeof v.length_ms !== "number") throw new Error("this is no review that the page knows");
  for (const part of /** @type {const} */ (["stages", "frames", "moments", "cues"])) if (!Array.isArray(v[part])) throw new Error(`the review has no ${part}`);
  if (v.frames.length === 0) throw new Error("the review has nothing to show");
  let last = /** @type {Run} */ ({});
  const frames = v.frames.map((f) => {
    last = { ...last, ...f.run };
    return { at_ms: f.at_ms, facts: f.facts ?? [], run: last };
  });
  return { ...v, frames };
}

/**
 * Reviews on one time axis: where the run clock of each has started they stand
 * at the same instant, else where the runs were opened.
 * @param {Review[]} reviews
 * @returns {Player}
 */
export function player(reviews) {
  const clocked = reviews.every((r) => r.clock_ms !== null);
  const lead = Math.max(0, ...reviews.map((r) => (clocked ? (r.clock_ms ?? 0) : 0)));
  const tracks = reviews.map((review) => ({ review, from: clocked ? lead - (review.clock_ms ?? 0) : 0 }));
  return { tracks, length: Math.max(0, ...tracks.map((t) => t.from + t.review.length_ms)), at: Math.min(...tracks.map((t) => t.from)), playing: false, speed: 1, muted: false };
}

/** @param {Player} p @param {number} at @returns {Player} */
export const seek = (p, at) => ({ ...p, at: Math.max(0, Math.min(p.length, at)) });

/** Play, or pause; at the end it begins anew. @param {Player} p @returns {Player} */
export const toggle = (p) => (p.playing ? { ...p, playing: false } : { ...p, playing: true, at: p.at >= p.length ? 0 : p.at });

/** @param {Player} p @param {number} by one faster or slower @returns {Player} */
export function faster(p, by) {
  const i = speeds.indexOf(p.speed) + by;
  return { ...p, speed: speeds[Math.max(0, Math.min(speeds.length - 1, i))] ?? 1 };
}

/**
 * Time went by: the player goes on, and stops at the end.
 * @param {Player} p
 * @param {number} ms of the world
 * @returns {Player}
 */
export function tick(p, ms) {
  if (!p.playing || ms <= 0) return p;
  const at = Math.min(p.length, p.at + ms * p.speed);
  return { ...p, at, playing: at < p.length };
}

/** Instants of facts on the axis, in order, each once. @param {Player} p */
export function factTimes(p) {
  return [...new Set(p.tracks.flatMap((t) => t.review.frames.filter((f) => f.facts.length > 0).map((f) => t.from + f.at_ms)))].sort((a, b) => a - b);
}

/** Moments of all tracks in order, each with its track and its instant on the axis. @param {Player} p */
export function moments(p) {
  return p.tracks
    .flatMap((t, track) => t.review.moments.map((m) => ({ ...m, track, at: t.from + m.at_ms })))
    .sort((a, b) => a.at - b.at);
}

/**
 * To the next instant of a list, or the one before; none: where it is.
 * @param {Player} p
 * @param {number[]} times
 * @param {1|-1} way
 * @returns {Player}
 */
export function step(p, times, way) {
  const to = way > 0 ? times.find((t) => t > p.at) : times.findLast((t) => t < p.at);
  return { ...p, playing: false, at: to ?? p.at };
}

/** The frame of an instant since the opening: the last one not after it. @param {Review} r @param {number} ms */
export function frameAt(r, ms) {
  let low = 0;
  let high = r.frames.length - 1;
  while (low < high) {
    const mid = (low + high + 1) >> 1;
    if ((r.frames[mid]?.at_ms ?? 0) <= ms) low = mid;
    else high = mid - 1;
  }
  return /** @type {Frame} */ (r.frames[low]);
}

/**
 * The run as it was shown at an instant since its opening: that of its frame,
 * with what goes by itself moved on.
 * @param {Review} r
 * @param {number} ms
 * @returns {Run}
 */
export function runAt(r, ms) {
  const f = frameAt(r, ms);
  const by = Math.max(0, ms - f.at_ms);
  const run = f.run;
  return {
    ...run, stage_ms: run.stage_ms + by, wait_ms: Math.max(0, run.wait_ms - by),
    run_ms: run.ticking && run.run_ms !== null ? Math.min(run.run_ms + by, run.length_ms) : run.run_ms,
    notes: run.notes.map((n) => ({ ...n, ago_ms: n.ago_ms + by })),
  };
}

/**
 * A snapshot as live pages get it, for what they are drawn from. What is not
 * known of the box then is said to be sound: the review is of the run alone.
 * @param {Track} t
 * @param {number} at on the axis
 * @returns {Snapshot|null} null before the run was opened
 */
export function snapAt(t, at) {
  if (at < t.from) return null;
  return {
    type: "snapshot", number: 1, fence: 0, driver: "", watchers: 0, practice: t.review.practice, speed: 1,
    inputs: {
      board: "", supervised: t.review.supervised, cable: "", squeeze: false, step: false, report: false, noise: 0, lines: [], check: null, latency: null, learn: "", learned: "",
    },
    sound: "", volume: 0, muted: false, storage: "", clock: { wall: "", quality: "confirmed", trusted: true, steps: 0 }, lag_ms: 0,
    run: runAt(t.review, at - t.from), parked: [], pairing: "",
  };
}

/** The instant of the axis at which a run had ended, as its stages tell; null before it, and where it ends the review too. @param {Player} p @param {Track} t */
export function endedBefore(p, t) {
  const last = t.review.stages.at(-1);
  const end = t.from + (last?.stage === "over" ? last.at_ms : t.review.length_ms);
  return p.tracks.length > 1 && p.at - end >= atOnceMs ? end : null;
}

/** What is not further apart is one instant, in milliseconds. */
export const atOnceMs = 60;

/**
 * Tones that begin after an instant and not after another.
 * @param {Player} p
 * @param {number} after
 * @param {number} to
 * @returns {{cue: string, at: number}[]}
 */
export function cuesBetween(p, after, to) {
  return p.tracks.flatMap((t) => t.review.cues.map((c) => ({ cue: c.cue, at: t.from + c.at_ms }))).filter((c) => c.at > after && c.at <= to).sort((a, b) => a.at - b.at);
}

/** The last moment that has come at an instant; -1: none. @param {{at: number}[]} all @param {number} at */
export const momentNow = (all, at) => all.findLastIndex((m) => m.at <= at);

/**
 * What a key does: a name of the player's acts; empty: nothing.
 * @param {{key: string, shiftKey: boolean, ctrlKey: boolean, altKey: boolean, metaKey: boolean}} e
 * @returns {""|"toggle"|"back"|"on"|"rewind"|"forward"|"faster"|"slower"|"before"|"next"|"start"|"end"|"mute"|"keys"|"close"}
 */
export function keyed(e) {
  if (e.ctrlKey || e.altKey || e.metaKey) return "";
  switch (e.key) {
    case " ":
      return "toggle";
    case "ArrowLeft":
      return e.shiftKey ? "rewind" : "back";
    case "ArrowRight":
      return e.shiftKey ? "forward" : "on";
    case "ArrowUp":
      return "faster";
    case "ArrowDown":
      return "slower";
    case "Home":
      return "start";
    case "End":
      return "end";
    case "?":
      return "keys";
    case "Escape":
      return "close";
  }
  switch (e.key.toLowerCase()) {
    case "n":
      return "next";
    case "p":
      return "before";
    case "m":
      return "mute";
  }
  return "";
}
