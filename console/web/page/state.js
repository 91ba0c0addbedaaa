// SPDX-License-Identifier: Apache-2.0

// What a snapshot of a certain age shows: pure, so that every screen can be
// made again from the snapshot alone. Times between snapshots are the
// snapshot's plus its age at the clock's speed, and stand still once it is
// stale: nothing is known of what came after.

import { count, exercise, faults, fault as faultText, health as healthWords, lookUp, nexts, outcomes, proofs, reasons, say, whys } from "./words.js";

/** @typedef {import("./contract.js").Snapshot} Snapshot */
/** @typedef {import("./contract.js").Run} Run */
/** @typedef {import("./contract.js").Dose} Dose */

/** A snapshot older than this is stale. */
export const staleAfterMs = 2000;
/** Facts not on disk for longer than this are said to be unsaved. */
export const unsavedAfterMs = 1000;
/** A note about an input without effect is shown this long. */
export const noteForMs = 8000;

/** @typedef {{kind: "none"|"count"|"time"|"word", text: string, label: string, stop: boolean, mark: string}} Big */
/** @typedef {{kind: "given"|"due"|"extra", group: number}} Pip */
/**
 * @typedef {object} Shown
 * @property {boolean} stale
 * @property {string} age               how old what is shown is, in words; empty when fresh
 * @property {boolean} driving
 * @property {boolean} driven           somebody drives
 * @property {number|null} clockMs      the run clock now
 * @property {string} stage             a Stage, or "none"
 * @property {Big} big
 * @property {string} title             over the pips
 * @property {Pip[]} pips
 * @property {string} detail            under the pips
 * @property {string} sentence          stars mark the words that matter
 * @property {string} blocked           why go on would be refused now, in words
 * @property {boolean} goOn             go on means something here
 * @property {{name: string, left: string, after: string, care: string, number: number}|null} exercise
 * @property {{word: string, ok: boolean}[]} health
 * @property {string} note              an input that changed nothing, in words
 * @property {string[]} faults
 * @property {{aloud: string, touched: boolean, hoodOff: boolean, noMist: boolean, correct: boolean, stop: boolean}} may
 * @property {{word: string, reason: string, next: string, proof: string, mayProve: boolean}|null} verdict
 */

/**
 * @param {Snapshot} snap
 * @param {number} ageMs
 */
function drift(snap, ageMs) {
  return Math.min(Math.max(0, ageMs), staleAfterMs) * snap.speed;
}

/**
 * The run clock, in milliseconds; null before it starts.
 * @param {Snapshot} snap
 * @param {number} ageMs
 * @returns {number|null}
 */
export function runClock(snap, ageMs) {
  const run = snap.run;
  if (run === null || run.run_ms === null) return null;
  if (!run.ticking) return run.run_ms;
  return Math.min(run.run_ms + drift(snap, ageMs), run.length_ms);
}

/**
 * The dose that squeezes count toward at an instant of the run clock.
 * @param {Run} run
 * @param {number|null} clockMs
 * @returns {Dose|null}
 */
export function openDose(run, clockMs) {
  if (run.stage === "dosing") return run.initial ?? run.dose;
  if (run.stage !== "running" || clockMs === null) return null;
  return run.top_ups.find((d) => d.open_ms <= clockMs && clockMs < d.shut_ms) ?? null;
}

/** @param {number} ms */
export function minutes(ms) {
  const s = Math.max(0, Math.ceil(ms / 1000 - 1e-9));
  return `${Math.floor(s / 60)}:${String(s % 60).padStart(2, "0")}`;
}

/** @param {number} ms an age */
export function age(ms) {
  const s = Math.floor(ms / 1000);
  return s < 120 ? `${s} s old` : `${Math.floor(s / 60)} min old`;
}

/**
 * Pips of a dose, in rows of five.
 * @param {Dose} d
 * @returns {Pip[]}
 */
export function pipsOf(d) {
  /** @type {Pip[]} */
  const out = [];
  for (let i = 0; i < d.required; i++) out.push({ kind: i < d.given ? "given" : "due", group: Math.floor(i / 5) });
  for (let i = 0; i < d.extra; i++) out.push({ kind: "extra", group: -1 });
  return out;
}

/** @type {Big} */
const nothing = { kind: "none", text: "", label: "", stop: false, mark: "" };

/**
 * @param {string} text
 * @param {string} label
 * @returns {Big}
 */
const counted = (text, label) => ({ kind: "count", text, label, stop: false, mark: "" });
/**
 * @param {string} text
 * @param {string} label
 * @returns {Big}
 */
const timed = (text, label) => ({ kind: "time", text, label, stop: false, mark: "" });

/** A shape for each outcome, so that colour is never alone. @type {Record<string, string>} */
export const marks = { pass: "✓", fail: "✕", not_valid: "⊘", cannot_taste: "–" };

/**
 * @param {Snapshot} snap
 * @param {number} ageMs  since it came
 * @param {string} client this page's name; empty before it has one
 * @returns {Shown}
 */
export function shown(snap, ageMs, client) {
  const run = snap.run;
  const clockMs = runClock(snap, ageMs);
  const stale = ageMs > staleAfterMs;
  /** @type {Shown} */
  const out = {
    stale, age: stale ? age(ageMs) : "",
    driving: client !== "" && snap.driver === client, driven: snap.driver !== "",
    clockMs, stage: run === null ? "none" : run.stage,
    big: nothing, title: "", pips: [], detail: "", sentence: say.none(), blocked: "", goOn: false, exercise: null,
    health: healthOf(snap, ageMs), note: "", faults: [],
    may: { aloud: "", touched: false, hoodOff: false, noMist: false, correct: false, stop: false }, verdict: null,
  };
  if (run === null) {
    out.sentence = snap.inputs.missing ? say.missing() : snap.clock.quality === "unset" ? say.clockUnset() : say.none();
    return out;
  }
  const fit = run.stage === "dosing" || run.stage === "running" || run.stage === "proving_button";
  const testing = fit || run.stage === "screening";
  const wait = Math.max(0, run.wait_ms - drift(snap, ageMs));
  out.may = {
    aloud: run.stage === "screening" ? "sets the bin" : fit ? "tasted: fail" : "",
    touched: fit, hoodOff: testing, noMist: testing, correct: run.stage === "screening" || run.stage === "dosing" || run.stage === "running",
    stop: run.stage !== "over" && run.stage !== "proving_mist",
  };
  out.faults = run.faults.map(faultText);
  const last = run.notes.at(-1);
  if (last && last.ago_ms + ageMs * snap.speed < noteForMs * Math.max(1, snap.speed)) out.note = lookUp(whys, last.why);
  out.blocked = run.blocked === "" ? "" : lookUp(whys, run.blocked);
  if (run.stage === "running" && clockMs !== null) out.exercise = exerciseOf(run, clockMs);

  switch (run.stage) {
    case "ready":
      out.goOn = true;
      out.sentence = out.blocked || say.ready();
      out.title = "Before the test";
      break;
    case "screening":
      screening(run, wait, out);
      break;
    case "clearing":
      out.goOn = true;
      out.big = counted(String(run.screening.bin), "is the bin");
      out.title = `Tasted after ${run.screening.squeezes} ${run.screening.squeezes === 1 ? "squeeze" : "squeezes"}`;
      out.detail = `${minutes(run.stage_ms + drift(snap, ageMs))} since the report`;
      out.sentence = say.clearing();
      break;
    case "donning":
      out.goOn = true;
      out.title = `Bin ${run.screening.bin}: ${count(run.screening.bin)} squeezes first`;
      if (wait > 0) {
        out.big = timed(minutes(wait), "still to wear it");
        out.sentence = say.donning();
        out.detail = out.blocked && run.blocked !== "not_worn_long_enough" ? out.blocked : `of ${minutes(run.need_ms)} before the test`;
      } else {
        out.big = timed("0:00", "worn long enough");
        out.sentence = out.blocked || say.donned();
      }
      break;
    case "dosing":
    case "running":
      dosing(run, clockMs, out);
      break;
    case "proving_button":
      out.big = timed(minutes(wait), "to press it");
      out.sentence = say.provingButton();
      out.title = "Button press";
      break;
    case "proving_mist":
      out.sentence = say.provingMist();
      out.title = "Proof of the mist";
      break;
    case "over":
      break;
  }
  if (run.verdict !== null) verdict(run, out);
  else if (run.ending || run.stage === "over") {
    out.sentence = say.ending();
    out.big = { kind: "word", text: "Saving", label: "", stop: false, mark: "…" };
  }
  return out;
}

/**
 * @param {Run} run
 * @param {number} wait
 * @param {Shown} out
 */
function screening(run, wait, out) {
  const s = run.screening;
  const full = s.squeezes >= s.most;
  out.goOn = full;
  out.title = `Sensitivity test, ${s.squeezes} of ${s.most}`;
  out.pips = Array.from({ length: s.most }, (_, i) => ({ kind: i < s.squeezes ? "given" : "due", group: Math.floor(i / 10) }));
  if (s.counted > s.squeezes) out.detail = `and ${s.counted - s.squeezes} doubtful, counted for the bin`;
  out.big = full ? timed(minutes(wait), "left to report") : counted(String(s.squeezes), `of ${s.most} squeezes`);
  out.sentence = full ? say.screeningFull() : s.squeezes === 0 ? say.screeningFirst() : say.screening();
}

/**
 * @param {Run} run
 * @param {number|null} clockMs
 * @param {Shown} out
 */
function dosing(run, clockMs, out) {
  const d = openDose(run, clockMs);
  const ex = run.exercises[out.exercise?.number ?? 0] ?? "";
  if (d !== null) {
    out.pips = pipsOf(d);
    out.title = d.n === 0 ? "Initial dose" : `Top-up ${d.n} of ${run.top_ups.length}`;
    out.detail = [
      ...d.remarks.map((r) => (r === "extra" ? `${d.extra} extra, harmless` : r)),
      ...(d.doubtful > 0 ? [`${d.doubtful} too brief, not counted`] : []),
    ].join(", ");
    const left = d.required - d.given;
    if (left > 0 && (d.n === 0 || d.given > 0 || (clockMs ?? 0) >= d.due_ms)) {
      out.big = counted(String(left), "squeezes due");
      out.sentence = d.n === 0 ? say.dosing(left) : say.due(left, ex);
      if (d.n > 0 && clockMs !== null) out.detail = `due at ${minutes(d.due_ms)}, closes in ${Math.ceil((d.shut_ms - clockMs) / 1000)} s${out.detail && `, ${out.detail}`}`;
      return;
    }
  }
  if (clockMs === null) return;
  const next = run.top_ups.find((t) => t.due_ms > clockMs && t.given < t.required);
  if (!next) {
    out.big = timed(minutes(run.length_ms - clockMs), "to the end");
    out.sentence = say.last(ex);
    if (d === null) out.title = "Every dose is given";
    return;
  }
  const left = next.required - next.given;
  out.big = timed(minutes(next.due_ms - clockMs), `until ${count(left)} more`);
  out.sentence = next.due_ms - clockMs <= 5000 ? say.soon(left, minutes(next.due_ms)) : say.waiting(left, minutes(next.due_ms), ex);
  if (d === null) {
    out.title = `Top-up ${next.n} of ${run.top_ups.length}`;
    out.pips = pipsOf(next);
  }
  if (d === next || d === null) out.detail ||= `due at ${minutes(next.due_ms)}`;
  else out.detail ||= "complete";
}

/**
 * @param {Run} run
 * @param {number} clockMs
 */
export function exerciseOf(run, clockMs) {
  const n = Math.min(Math.floor(clockMs / run.exercise_ms), run.exercises.length - 1);
  const id = run.exercises[n] ?? "";
  const next = run.exercises[n + 1];
  const e = exercise(id);
  return {
    name: e.name, left: minutes((n + 1) * run.exercise_ms - clockMs), care: e.care, number: n,
    after: next === undefined ? "the last one" : `then ${exercise(next).name.toLowerCase()}`,
  };
}

/**
 * @param {Run} run
 * @param {Shown} out
 */
function verdict(run, out) {
  const v = run.verdict;
  if (v === null) return;
  const word = lookUp(outcomes, v.outcome);
  const proving = run.stage === "proving_mist";
  out.verdict = {
    word, reason: v.reason === "" ? "" : lookUp(reasons, v.reason), next: lookUp(nexts, v.next),
    proof: v.proof === "" ? "" : lookUp(proofs, v.proof),
    mayProve: !proving && v.outcome === "pass" && v.proof === "",
  };
  out.big = { kind: "word", text: word, label: "", stop: v.outcome === "fail", mark: marks[v.outcome] ?? "" };
  if (!proving) out.sentence = say.verdict(v.outcome);
}

/**
 * @param {Snapshot} snap
 * @param {number} ageMs
 */
function healthOf(snap, ageMs) {
  const i = snap.inputs;
  const bad = i.lost || (i.cable && lookUp(faults, i.cable)) || i.missing || "";
  const lag = snap.lag_ms > unsavedAfterMs || (snap.lag_ms > 0 && snap.lag_ms + Math.min(ageMs, staleAfterMs) > unsavedAfterMs);
  return [
    { word: bad || (i.supervised ? healthWords.inputsSound : healthWords.unsupervised), ok: bad === "" },
    { word: snap.sound ? `${healthWords.noSound}: ${snap.sound}` : healthWords.soundOn, ok: snap.sound === "" },
    { word: snap.storage ? `${healthWords.notSaving}: ${snap.storage}` : lag ? healthWords.unsaved : healthWords.saved, ok: snap.storage === "" && !lag },
  ];
}

/**
 * What the wearer sees: no count, no level, no verdict.
 * @param {Snapshot|null} snap
 * @param {number} ageMs
 * @returns {{key: string, exercise: string, ticks: number|null, of: number, breath: "in"|"out"|"", stale: boolean}}
 */
export function wearerShown(snap, ageMs) {
  const none = { key: "none", exercise: "", ticks: null, of: 12, breath: /** @type {const} */ (""), stale: false };
  if (snap === null || ageMs > staleAfterMs) return { ...none, key: "lost", stale: true };
  const run = snap.run;
  if (run === null) return none;
  const clockMs = runClock(snap, ageMs);
  if (run.stage === "running" && clockMs !== null) {
    const n = exerciseOf(run, clockMs).number;
    const id = run.exercises[n] ?? "";
    return {
      ...none, key: "running", exercise: id, ticks: Math.ceil(((n + 1) * run.exercise_ms - clockMs) / (run.exercise_ms / 12)),
      breath: id === "deep_breathing" ? breath(clockMs) : "",
    };
  }
  if (run.stage === "donning" && run.need_ms > 0) {
    const wait = Math.max(0, run.wait_ms - drift(snap, ageMs));
    return { ...none, key: "donning", ticks: Math.ceil((wait / run.need_ms) * 12) };
  }
  return { ...none, key: run.stage };
}

/** One slow breath: in for four seconds, out for six. */
export const breathInMs = 4000;
export const breathOutMs = 6000;

/**
 * @param {number} clockMs
 * @returns {"in"|"out"}
 */
export function breath(clockMs) {
  return clockMs % (breathInMs + breathOutMs) < breathInMs ? "in" : "out";
}
