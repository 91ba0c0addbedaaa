// SPDX-License-Identifier: Apache-2.0

// What a snapshot of a certain age shows: pure, so that every screen can be
// made again from the snapshot alone. Times between snapshots are the
// snapshot's plus its age at the clock's speed, and stand still once it is
// stale: nothing is known of what came after.

import { muted } from "./state-sound.js";
import { spoken, t } from "./lang.js";
import { count, exercise, faults, fault as faultText, health as healthWords, lacking, lookUp, nexts, outcomes, partWhy, proofs, questions, reasons, remarks, say, soundWhy, stages, whys } from "./words.js";

/** @typedef {import("./contract.js").Snapshot} Snapshot */
/** @typedef {import("./contract.js").Run} Run */
/** @typedef {import("./contract.js").Dose} Dose */

/** A snapshot older than this is stale. */
export const staleAfterMs = 2000;
/** Facts not on disk for longer than this are said to be unsaved. */
export const unsavedAfterMs = 1000;
/** A note about an input without effect is shown this long. */
export const noteForMs = 8000;
/** More runs than these may not wait at a time. */
export const mostParked = 3;
/** Stages between two steps, at which a run may be set aside. */
const parkable = ["ready", "clearing", "donning"];

/** @typedef {{kind: "none"|"count"|"time"|"word", text: string, label: string, stop: boolean, mark: string}} Big */
/** @typedef {{kind: "given"|"due"|"extra", group: number}} Pip */
/**
 * A run that waits. Clock: what is left of its wait, or how long it has been
 * there; empty when neither says anything. Ready: its wait is over.
 * @typedef {{run: string, wearer: string, facepiece: string, stage: string, clock: string, word: string, ready: boolean}} Parked
 */
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
 * @property {string} noAdd             why no squeeze may be added to the open dose by hand, in words
 * @property {boolean} goOn             go on means something here
 * @property {{name: string, left: string, after: string, care: string, number: number}|null} exercise
 * @property {{word: string, ok: boolean}[]} health
 * @property {string} note              an input that changed nothing, in words
 * @property {number} noteMs            how long ago that was
 * @property {string[]} faults
 * @property {{aloud: string, touched: boolean, hoodOff: boolean, noMist: boolean, correct: boolean, stop: boolean, leaveProof: boolean, park: boolean, takeUp: boolean}} may
 * @property {Parked[]} parked         runs that wait, oldest first
 * @property {string} parkNot          why the run on the screen may not be set aside though its stage allows it; empty when it may
 * @property {string} tell             key of what to say to the wearer now; empty for nothing
 * @property {string} code             by which the Wearer's page is paired, until one is; empty for none
 * @property {boolean} wrongPerson     the wearer said that the name is not theirs
 * @property {string} announce         what a screen reader says: changes with the step, never with a squeeze
 * @property {string} calls            which runs that wait are ready, for a screen reader
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
  return s < 120 ? t("run.now.old_s", { s }) : t("run.now.old_min", { min: Math.floor(s / 60) });
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
  const out = asRun(snap, ageMs, client);
  // After a restart such a run may be a pass: only a person can note that it is none.
  if (snap.storage === "unnoted") out.sentence = say.unnoted();
  return out;
}

/** @param {Snapshot} snap @param {number} ageMs @param {string} client @returns {Shown} */
function asRun(snap, ageMs, client) {
  const run = snap.run;
  const clockMs = runClock(snap, ageMs);
  const stale = ageMs > staleAfterMs;
  /** @type {Shown} */
  const out = {
    stale, age: stale ? age(ageMs) : "",
    driving: client !== "" && snap.driver === client, driven: snap.driver !== "",
    clockMs, stage: run === null ? "none" : run.stage,
    big: nothing, title: "", pips: [], detail: "", sentence: say.none(), blocked: "", noAdd: "", goOn: false, exercise: null,
    health: healthOf(snap, ageMs), note: "", noteMs: 0, faults: [],
    may: { aloud: "", touched: false, hoodOff: false, noMist: false, correct: false, stop: false, leaveProof: false, park: false, takeUp: false }, verdict: null,
    parked: parkedShown(snap, ageMs), parkNot: "", tell: "", code: "", wrongPerson: false, announce: "", calls: "",
  };
  out.calls = out.parked.filter((p) => p.ready).map((p) => t("run.now.calls", { name: p.wearer, stage: p.stage })).join(" ");
  if (run === null) {
    out.may.takeUp = true;
    out.sentence = snap.inputs.missing ? say.missing() : snap.clock.quality === "unset" ? say.clockUnset() : say.none();
    return out;
  }
  const fit = run.stage === "dosing" || run.stage === "running" || run.stage === "proving_button";
  const testing = fit || run.stage === "screening";
  const wait = Math.max(0, run.wait_ms - drift(snap, ageMs));
  out.may = {
    aloud: run.stage === "screening" ? t("run.now.sets_bin") : fit ? t("run.now.tasted_fail") : "",
    touched: fit, hoodOff: testing, noMist: testing, correct: run.stage === "screening" || run.stage === "dosing" || run.stage === "running",
    stop: run.stage !== "over", leaveProof: run.stage === "proving_mist",
    park: parkable.includes(run.stage) && snap.parked.length < mostParked, takeUp: false,
  };
  out.may.takeUp = out.may.park; // what is on the screen is set aside for it
  if (parkable.includes(run.stage) && !out.may.park) out.parkNot = lookUp(whys, "too_many_parked");
  out.code = run.paired === 0 ? run.code : "";
  out.wrongPerson = run.name_said === "no" && run.stage !== "over";
  out.noAdd = run.no_add ? lookUp(whys, run.no_add) : "";
  out.faults = run.faults.map(faultText);
  const last = run.notes.at(-1);
  // What a step before refused says nothing of this one.
  if (last && last.ago_ms <= run.stage_ms && last.ago_ms + ageMs * snap.speed < noteForMs * Math.max(1, snap.speed)) {
    out.note = lookUp(whys, last.why);
    out.noteMs = last.ago_ms / snap.speed + ageMs;
  }
  out.blocked = run.blocked === "" ? "" : run.blocked === "questions_open" ? unanswered(run) : lookUp(whys, run.blocked);
  if (run.stage === "running" && clockMs !== null) out.exercise = exerciseOf(run, clockMs);

  switch (run.stage) {
    case "ready":
      out.goOn = true;
      out.sentence = out.blocked || say.ready();
      out.title = t("run.now.before");
      break;
    case "screening":
      screening(run, wait, out);
      break;
    case "clearing":
      out.goOn = true;
      out.big = counted(String(run.screening.bin), t("run.now.is_bin"));
      out.title = run.screening.counted > run.screening.squeezes
        ? t("run.now.tasted_doubtful", { n: run.screening.squeezes, doubtful: run.screening.counted - run.screening.squeezes, counted: run.screening.counted })
        : t("run.now.tasted_after", { n: run.screening.squeezes });
      out.detail = t("run.now.since_report", { time: minutes(run.stage_ms + drift(snap, ageMs)) });
      out.sentence = say.clearing();
      break;
    case "donning":
      out.goOn = true;
      out.title = t("run.now.bin_first", { bin: run.screening.bin, n: run.screening.bin, count: count(run.screening.bin) });
      if (wait > 0) {
        out.big = timed(minutes(wait), t("run.now.still_to_wear"));
        out.sentence = say.donning();
        out.detail = out.blocked && run.blocked !== "not_worn_long_enough" ? out.blocked : t("run.now.of_wear", { time: minutes(run.need_ms) });
      } else {
        out.big = timed("0:00", t("run.now.worn"));
        out.sentence = out.blocked || say.donned();
      }
      break;
    case "dosing":
    case "running":
      dosing(run, clockMs, out);
      break;
    case "proving_button":
      out.big = timed(minutes(wait), t("run.now.to_press"));
      out.sentence = say.provingButton();
      out.title = t("run.now.button_press");
      break;
    case "proving_mist":
      out.sentence = say.provingMist();
      out.title = t("run.now.proof");
      break;
    case "over":
      break;
  }
  if (run.verdict !== null) verdict(run, out);
  else if (run.ending || run.stage === "over") {
    out.sentence = say.ending();
    out.big = { kind: "word", text: t("run.now.saving"), label: "", stop: false, mark: "…" };
  }
  out.tell = telling(run, out);
  out.announce = announced(run, out);
  return out;
}

/**
 * What is called out. It follows the box's own clock, since a page's reckoning
 * may run ahead of it and back, and would call an exercise twice.
 * @param {Run} run
 * @param {Shown} out
 */
function announced(run, out) {
  if (run.verdict !== null) return plain(out.sentence); // it begins with the verdict
  if (run.ending || run.stage === "over") return ""; // its verdict is next
  if (run.stage === "running" && run.run_ms !== null) {
    const e = exerciseOf(run, run.run_ms);
    return `${e.name}. ${e.care}`;
  }
  const due = run.stage === "ready" || run.stage === "donning" ? plain(out.sentence) : "";
  // Which question is next is there to be read: said with each answer it would cut what is being said.
  const held = run.blocked === "questions_open" ? lookUp(whys, run.blocked) : out.blocked;
  return `${lookUp(stages, run.stage)}. ${held || due}`.trim();
}

/**
 * Which questions keep the run, and how many: answers of no first.
 * @param {Run} run
 */
function unanswered(run) {
  const no = run.questions.filter((q) => q.answered && !q.yes);
  const open = run.questions.filter((q) => !q.answered);
  const told = (/** @type {string} */ key, /** @type {Run["questions"]} */ of) => (of[0] ? t(key, { n: of.length, question: lookUp(questions, of[0].id) }) : "");
  return told("run.now.said_no", no) || told("run.now.not_asked", open) || lookUp(whys, "questions_open");
}

/** A sentence without its stars. @param {string} text */
export const plain = (text) => text.replaceAll("*", "");

/**
 * What to say to the wearer: of the exercise under way, else of the stage. While
 * the seal is in place nobody is asked to speak.
 * @param {Run} run
 * @param {Shown} out
 */
function telling(run, out) {
  if (out.wrongPerson) return "";
  if (run.stage === "running") return run.exercises[out.exercise?.number ?? 0] ?? "";
  if (run.stage === "over") return run.verdict === null ? "" : out.verdict?.mayProve ? "over_proof" : { none: "over_hood", part: "over_part", both: "over" }[wornBy(run)];
  if (run.stage === "donning" && out.big.kind === "time" && run.wait_ms > 0 && run.need_ms - run.wait_ms > tellDonningForMs) return "wearing";
  return run.stage;
}

/**
 * What the wearer of a run that is over may have on: the hood at most, hood or
 * facepiece, or both.
 * @param {Run} run
 * @returns {"none"|"part"|"both"}
 */
function wornBy(run) {
  if (run.initial !== null) return "both";
  return run.screening.bin > 0 ? "part" : "none";
}

/** So long the wearer is told what to put on besides; then, how to wear it. */
const tellDonningForMs = 45_000;

/**
 * The runs that wait.
 * @param {Snapshot} snap
 * @param {number} ageMs
 * @returns {Parked[]}
 */
export function parkedShown(snap, ageMs) {
  return snap.parked.map((r) => {
    const wait = Math.max(0, r.wait_ms - drift(snap, ageMs));
    const over = r.need_ms > 0 && wait === 0;
    const held = r.name_said === "no" ? "wrong_person" : waits.includes(r.blocked) ? "" : r.blocked;
    const clearing = r.stage === "clearing";
    const ready = over && held === "" && !clearing;
    return {
      run: r.run, wearer: r.wearer, facepiece: r.facepiece, stage: lookUp(stages, r.stage), ready,
      clock: clearing ? minutes(r.stage_ms + drift(snap, ageMs)) : wait > 0 ? minutes(wait) : "",
      word: ready ? t("run.now.ready_now") : held !== "" ? lookUp(whys, held) : clearing ? t("run.now.rinsing") : wait > 0 ? t(r.stage === "donning" ? "run.now.still_to_wear" : "run.now.still_to_wait") : t("run.now.no_wait"),
    };
  });
}

/** Whys that the wait itself gives, or that being set aside gives. */
const waits = ["", "abstinence_not_over", "not_worn_long_enough", "parked"];

/**
 * @param {Run} run
 * @param {number} wait
 * @param {Shown} out
 */
function screening(run, wait, out) {
  const s = run.screening;
  const full = s.squeezes >= s.most;
  out.goOn = full;
  out.title = t("run.now.screening", { given: s.squeezes, most: s.most });
  out.pips = Array.from({ length: s.most }, (_, i) => ({ kind: i < s.squeezes ? "given" : "due", group: Math.floor(i / 10) }));
  if (s.counted > s.squeezes) out.detail = t("run.now.doubtful", { n: s.counted - s.squeezes });
  out.big = full ? timed(minutes(wait), t("run.now.to_report")) : counted(String(s.squeezes), t("run.now.of_squeezes", { n: s.most }));
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
    out.title = d.n === 0 ? t("run.now.initial") : t("run.now.top_up", { number: d.n, of: run.top_ups.length });
    out.detail = [
      ...d.remarks.map((r) => (r === "extra" ? t("run.now.extra", { n: d.extra }) : lookUp(remarks, r))),
      ...(d.doubtful > 0 ? [t("run.now.too_brief", { n: d.doubtful })] : []),
    ].join(", ");
    const left = d.required - d.given;
    if (left > 0 && (d.n === 0 || d.given > 0 || (clockMs ?? 0) >= d.due_ms)) {
      out.big = counted(String(left), t("run.now.squeezes_due", { n: left }));
      out.sentence = d.n === 0 ? say.dosing(left) : say.due(left, ex);
      if (d.n > 0 && clockMs !== null) out.detail = [t("run.now.due_closes", { at: minutes(d.due_ms), s: Math.ceil((d.shut_ms - clockMs) / 1000) }), out.detail].filter(Boolean).join(", ");
      return;
    }
  }
  if (clockMs === null) return;
  const next = run.top_ups.find((t) => t.due_ms > clockMs && t.given < t.required);
  if (!next) {
    out.big = timed(minutes(run.length_ms - clockMs), t("run.now.to_end"));
    out.sentence = say.last(ex);
    if (d === null) out.title = t("run.now.all_given");
    return;
  }
  const left = next.required - next.given;
  out.big = timed(minutes(next.due_ms - clockMs), t("run.now.until", { n: left, count: count(left) }));
  out.sentence = next.due_ms - clockMs <= 5000 ? say.soon(left, minutes(next.due_ms)) : say.waiting(left, minutes(next.due_ms), ex);
  if (d === null) {
    out.title = t("run.now.top_up", { number: next.n, of: run.top_ups.length });
    out.pips = pipsOf(next);
  }
  if (d === next || d === null) out.detail ||= t("run.now.due_at", { at: minutes(next.due_ms) });
  else out.detail ||= t("run.now.complete");
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
    after: next === undefined ? t("run.now.last_one") : t("run.now.then", { exercise: exercise(next).name.toLocaleLowerCase(spoken()) }),
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
  const mayProve = !proving && v.outcome === "pass" && v.proof === "";
  out.verdict = {
    word, reason: v.reason === "" ? "" : lookUp(reasons, v.reason),
    next: v.next === "proof" && !mayProve ? "" : lookUp(nexts, v.next), // what was done is not offered again
    proof: v.proof === "" ? "" : lookUp(proofs, v.proof),
    mayProve,
  };
  out.big = { kind: "word", text: word, label: "", stop: v.outcome === "fail", mark: marks[v.outcome] ?? "" };
  if (!proving) out.sentence = say.verdict(mayProve ? "pass_proof" : v.outcome === "not_valid" ? { none: "not_valid_hood", part: "not_valid_part", both: "not_valid" }[wornBy(run)] : v.outcome);
}

/**
 * @param {Snapshot} snap
 * @param {number} ageMs
 */
function healthOf(snap, ageMs) {
  const i = snap.inputs;
  const bad = (i.lost && partWhy(i.lost)) || (i.cable && lookUp(faults, i.cable)) || lacking(i.missing ?? "");
  const lag = snap.lag_ms > unsavedAfterMs || (snap.lag_ms > 0 && snap.lag_ms + Math.min(ageMs, staleAfterMs) > unsavedAfterMs);
  return [
    { word: bad || (i.supervised ? healthWords.inputsSound : healthWords.unsupervised), ok: bad === "" },
    { word: snap.sound ? `${healthWords.noSound}: ${soundWhy(snap.sound)}` : muted(snap) ? healthWords.muted : healthWords.soundOn, ok: snap.sound === "" && !muted(snap) },
    { word: snap.storage ? healthWords.notSaving : lag ? healthWords.unsaved : healthWords.saved, ok: snap.storage === "" && !lag },
  ];
}
