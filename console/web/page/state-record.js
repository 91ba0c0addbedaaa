// SPDX-License-Identifier: Apache-2.0

// What a record's screen is drawn from: pure.

import { dayIn, figure, t } from "./lang.js";
import { marks } from "./state.js";
import { defaultHalfLifeMs, wide } from "./strip.js";
import { exercises } from "./words.js";

/** @typedef {{n: number, due_s: number, required: number, given: number, extra: number, doubtful: number, added: number, taken: number, first_s: number|null, done_s: number|null, remarks: string[]}} TopUp */
/** @typedef {{required: number, given: number, doubtful: number, added: number, taken: number, remarks: string[]}} Initial */
/** @typedef {{initial: Initial, top_ups: TopUp[], exercises: {id: string, start_s: number, end_s: number}[], taste_s: number|null, taste_exercise: string|null, squeezes_total: number, duration_s: number|null, level: {mean: number, min: number}|null, squeezes_s?: number[]}} Fit */
/** @typedef {{schema: string, outcome: string, reason: string, rules: string, agent: string, screening: {squeezes: number, doubtful: number, bin: number}, fit: Fit|null, proof?: string|null, corrections?: {part: string, top_up: number, delta: number, reason: string, by?: string}[], proof_left?: {why: string, by: string}, names?: {yes: boolean, by: string}[], remarks?: string[], try?: number, inputs: {squeeze: number, taste: number, step: number, noise_edges: number, supervised: boolean, faults: string[]}, recalled?: Recalled}} Record outcome and reason are as of now */
/** @typedef {string|{name?: string, make?: string, model?: string, style?: string, size?: string, whose?: string}} Who */
/** @typedef {{outcome: string, reason: string, why: string, at: string, quality: string, by: string}} Recalled why a run does not stand any more, with its first outcome; reason: of that one */
/** @typedef {{run: string, opened: string, wearer: Who, facepiece: Who, outcome: string, reason: string, practice: string, recalled?: Recalled}} Line */
/** @typedef {{name: string, state: string, reason?: string}} Piece a part of the box at the opening */
/** @typedef {{id: string, mark: string, role: string, agent: string, lot: string, age_ns?: number, expired?: boolean, checked?: boolean}} Used a nebuliser as it went into use */
/** @typedef {{wall_quality?: string, time_source?: string, style?: string, size?: string, whose?: string, version?: string, box?: Piece[], wiring_checked?: string, sound_ms?: number, remarks?: string[], try?: number, kit?: Used[]|null, hood?: Hood|null}} Opening hood: null when none was named */
/** @typedef {{run: string, wearer: Who, facepiece: Who, tester: string, opened: string, practice: string, squeezes_s?: number[], hash: string, number: number|string, prevails: string, rules_name: string, record: Record, answers?: {question: string, yes: boolean}[]} & Opening} Full */
/** @typedef {{field: string, from: string, to: string, reason: string, by: string, at?: string, quality?: string}} Amendment quality: of the clock then */
/** @typedef {{who: string, record: string, strokes: string, holds: boolean, how?: string, at?: string, quality?: string}} Signature how: drawn or typed; empty: nobody said */
/** @typedef {{at: string, quality: string, by: string}} Recall */
/** @typedef {{id: string, mark: string, across_mm: number, tall_mm: number, oversized: boolean}} Hood as the run was opened; 0 mm: not measured */
/** @typedef {{run: string, person: string, name: string, facepiece: string, tester: string, make: string, model: string, size: string, at: string, quality: string, outcome: string, first: string, reason: string, recalled: string, recall?: Recall|null, practice: boolean, nebulisers: string[], hash: string, signed: Signature[], amended: Amendment[], counts?: string, companyNumber?: string}} Row a run as a list has it; outcome is as of now, first that of its own facts */

/** A person or facepiece in words. @param {Who} w */
export function whoOf(w) {
  if (typeof w === "string") return w;
  return [w.name, w.make, w.model, w.style, w.size, w.whose].filter(Boolean).join(", ");
}

/** Wall time as it was stored, without the seconds. @param {string|undefined} rfc3339 */
export function when(rfc3339) {
  const m = /^(\d{4}-\d\d-\d\d)T(\d\d:\d\d)/.exec(rfc3339 ?? "");
  return m ? `${dayIn(m[1] ?? "")} ${m[2]}` : "";
}

/**
 * The whole strip of a record, on a narrow screen in lines one below the other.
 * @param {Full} full
 * @param {"wide"|"low"|"narrow"} [size]
 * @returns {{strip: import("./strip.js").StripRun, frames: import("./strip.js").StripFrame[]}}
 */
export function ofRecord(full, size = "wide") {
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
    frames: size === "narrow" ? [[-50_000, 124_000], [116_000, 244_000], [236_000, 364_000], [356_000, 484_000]].map(([fromMs = 0, toMs = 0]) => ({ ...wide, width: 366, height: 170, fromMs, toMs, left: 6 })) : [wide],
  };
}

/**
 * The exercises of a record in their order: when each was, in seconds of the run
 * clock, and whether it was done.
 * @param {Full} full
 * @returns {{id: string, start: number|null, end: number|null, course: "done"|"cut"|"not_begun"}[]}
 */
export function exercisesOf(full) {
  const { strip } = ofRecord(full);
  const known = full.record.fit?.exercises ?? [];
  return strip.exercises.map((id, i) => {
    const e = known[i];
    if (e === undefined) return { id, start: null, end: null, course: "not_begun" };
    return { id, start: e.start_s, end: e.end_s, course: (e.end_s - e.start_s) * 1000 < strip.exerciseMs ? "cut" : "done" };
  });
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

/** A line of the list without the job around it, as a row. @param {Line} l @returns {Row} */
export function rowOf(l) {
  return {
    run: l.run, person: "", name: whoOf(l.wearer), facepiece: whoOf(l.facepiece), tester: "", make: "", model: "", size: "", at: l.opened, quality: "", outcome: l.outcome, first: l.recalled?.outcome ?? l.outcome, reason: l.reason,
    recalled: l.recalled?.why ?? "", practice: l.practice !== "", nebulisers: [], hash: "", signed: [], amended: [],
  };
}

/** @typedef {"all"|"pass"|"fail"|"not_valid"|"cannot_taste"|"recalled"|"practice"} Wanted */

/**
 * Those rows that are asked for. Practice counts among no outcome: it is none.
 * @param {Row[]} rows
 * @param {Wanted} wanted
 * @param {string} to last day; empty: all
 */
export function chosen(rows, wanted, to = "") {
  return rows.filter((r) => (to === "" || r.at.slice(0, 10) <= to)
    && (wanted === "all" || (wanted === "practice" ? r.practice : wanted === "recalled" ? r.recalled !== "" : !r.practice && r.outcome === wanted)));
}

/** Rows by the day of their opening, in their order. @param {Row[]} rows @returns {{day: string, rows: Row[]}[]} */
export function byDay(rows) {
  /** @type {{day: string, rows: Row[]}[]} */
  const out = [];
  for (const r of rows) {
    const day = /^\d{4}-\d\d-\d\d/.exec(r.at)?.[0] ?? "";
    const last = out.at(-1);
    if (last?.day === day) last.rows.push(r);
    else out.push({ day, rows: [r] });
  }
  return out;
}

/** The outcome as of now: a recalled run is not valid. @param {Full} full @param {Row|null} run */
export function outcomeNow(full, run) {
  return run?.recalled ? "not_valid" : full.record.outcome;
}

/** The outcome of the run's own facts, before any recall. @param {Full} full @param {Row|null} run */
export const outcomeFirst = (full, run) => full.record.recalled?.outcome ?? (run?.first || full.record.outcome);

/**
 * The recall of a run; null when there was none.
 * @param {Full} full @param {Row|null} run
 * @returns {{why: string, at: string, quality: string, by: string}|null}
 */
export function recallOf(full, run) {
  if (run?.recalled) return { why: run.recalled, at: run.recall?.at ?? "", quality: run.recall?.quality ?? "", by: run.recall?.by ?? "" };
  return full.record.recalled ?? null;
}

/** What stands for a label now, after its corrections. @param {string} first @param {Amendment[]} amended @param {string} field */
export function labelNow(first, amended, field) {
  return amended.filter((a) => a.field === field).at(-1)?.to ?? first;
}

/** Why a pass does not count any more, as the box says it, by the key of noCard. @type {{[why: string]: string}} */
const counts = { later_test: "later", failed: "failed", recalled: "recalled", trigger: "trigger", changed: "changed", gone: "gone", not_allowed: "gone", other_rules: "rules", date_unknown: "date", not_known: "erased" };

/**
 * Why there is no wallet card, as a key of noCard; empty when there is one. The
 * box decides; this says beforehand what it would say.
 * @param {Full} full
 * @param {Row|null} run
 */
export function cardRefused(full, run) {
  if (run === null) return "unknown";
  if (full.practice) return "practice";
  if (recallOf(full, run)) return "recalled";
  if (full.record.outcome !== "pass" || full.record.reason !== "") return "outcome";
  if (full.record.proof === "not_tasted") return "proof";
  if (!["confirmed", "network"].includes(full.wall_quality ?? "") || when(full.opened) === "") return "date";
  if (run.counts) return counts[run.counts] ?? "outcome";
  const name = whoOf(full.wearer);
  if (name === "(erased)" || name === "(sealed)") return "erased";
  if (name === "" && run.name === "") return "name";
  return run.make && run.model && run.size ? "" : "facepiece";
}

/**
 * Who has no name here. Whoever was entered has an id of the list, and a name
 * until erased.
 * @param {string} person an id
 */
export const unnamed = (person) => t(person === "drill" ? "desk.records.drilled" : person.startsWith("p-") ? "desk.records.erased" : "desk.records.unlisted");

/** Why a record is not signed, in words; empty when it is. @param {Full} full @param {Row|null} run */
export function signRefused(full, run) {
  if (full.practice) return t("office.refusals.practice");
  return run === null ? t("office.no_signing") : "";
}

/** The first signature that still stands under the record, by who signed. @param {Row} run @param {string} who */
export function signatureOf(run, who) {
  const all = run.signed.filter((s) => s.who === who);
  return all.findLast((s) => s.holds) ?? all.at(-1) ?? null;
}

/**
 * Says how much of a file has come.
 * @param {{done: string}} o @param {() => void} draw
 * @returns {(done: number, of: number) => void}
 */
export function arriving(o, draw) {
  return (done, of) => {
    const text = of > 0 ? t("office.done_of", { done: size(done), of: size(of) }) : t("office.so_far", { size: size(done) });
    if (text === o.done) return;
    o.done = text;
    draw();
  };
}

/** Bytes in words. @param {number} bytes */
export function size(bytes) {
  if (bytes < 1000) return t("office.bytes", { n: bytes });
  const [unit, by] = bytes < 1e6 ? ["kB", 1e3] : bytes < 1e9 ? ["MB", 1e6] : ["GB", 1e9];
  return `${figure(bytes / Number(by), 1)} ${unit}`;
}
