// SPDX-License-Identifier: Apache-2.0

// What the page Inputs shows of a snapshot of a certain age: pure.

import { minutes, staleAfterMs } from "./state.js";
import { asks, askNames, contacts, finding, latency as latencyWords, noFigure, qualities, say, timeSources, volts } from "./words-inputs.js";
import { faults, lookUp } from "./words.js";

/** @typedef {import("./contract.js").Snapshot} Snapshot */
/** @typedef {import("./contract.js").Box} Box */
/** @typedef {{line: string, name: string, source: string, closed: boolean, word: string, counts: string, moved: string, asked: boolean}} Contact */
/** @typedef {{name: string, of: string, word: string, ok: boolean}} Fact */
/**
 * @typedef {object} InputsShown
 * @property {"idle"|"check"|"latency"|"learn"} mode
 * @property {string} sentence   stars mark the words that matter
 * @property {boolean} runOpen
 * @property {Contact[]} contacts
 * @property {Fact} button       its supervision
 * @property {string[]} wrong    what is missing or lost, in words
 * @property {{steps: {ask: string, name: string, state: "done"|"now"|"todo"}[], left: string, found: string[], result: ""|"passed"|"failed"|"stopped"}|null} check
 * @property {{pips: ("given"|"due")[], figure: string, text: string, detail: string, when: string}|null} latency
 * @property {ClockShown} clock
 */
/**
 * What a person made of the clock's form. Null: nothing, the box's own time
 * stands; screen: the time of this screen, running on.
 * @typedef {{date: string, time: string, screen: boolean}|null} Edit
 */
/** @typedef {{date: string, time: string, zone: string, word: string, ok: boolean, unset: boolean, wants: ""|"look"|"right", trust: string, steps: string}} ClockShown */

/** Requests of the guided check in their order, and the contacts that they move. @type {[string, string][]} */
const order = [
  ["rest", ""], ["press_squeeze", "squeeze"], ["let_squeeze", "squeeze"], ["press_step", "step"], ["let_step", "step"], ["press_button", "taste"], ["let_button", "taste"],
];

/**
 * @param {Snapshot} snap
 * @param {number} ageMs
 * @returns {InputsShown}
 */
export function inputsShown(snap, ageMs) {
  const i = snap.inputs;
  const gone = Math.min(Math.max(0, ageMs), staleAfterMs) * snap.speed;
  const ask = i.check?.ask ?? "";
  const mode = ask !== "" ? "check" : i.latency && !i.latency.done ? "latency" : i.learn !== "" ? "learn" : "idle";
  const moves = order.find(([a]) => a === ask)?.[1] ?? "";
  const check = checkOf(snap, gone);
  return {
    mode, runOpen: snap.run !== null, check, latency: latencyOf(i.latency), clock: clockShown(snap, ageMs),
    sentence: mode === "check" ? lookUp(asks, ask) : mode === "latency" ? say.listen : mode === "learn" ? (i.learn === "step" ? say.learnStep : say.learnSqueeze) : overview(snap, check?.result ?? ""),
    contacts: i.lines.map((l) => ({
      line: l.line, name: lookUp(contacts, l.line), source: l.source, closed: l.closed, word: l.closed ? "closed" : "open",
      counts: l.line === "taste_nc" ? `${plural(l.edges, "change")}; its presses stand at the other one` : `${plural(l.edges, "change")}, ${l.rejected} rejected; ${plural(l.presses, "press", "es")}, ${l.doubtful} doubtful`,
      moved: l.edges === 0 ? "not moved yet" : `moved ${ago(l.quiet_ms + gone)}`,
      asked: moves !== "" && l.line.startsWith(moves),
    })),
    button: {
      name: "Wearer's button", of: i.report ? "pressed" : "not pressed",
      word: i.cable ? lookUp(faults, i.cable) : i.supervised ? "a pair, supervised: a broken or shorted cable is seen" : "one contact, unsupervised: a broken cable goes unseen", ok: i.cable === "",
    },
    wrong: [...(i.missing ? [i.missing] : []), ...(i.lost ? [`Changes may be missing: ${i.lost}`] : [])],
  };
}

/** @param {Snapshot} snap @param {string} result of the check */
function overview(snap, result) {
  const i = snap.inputs;
  if (snap.run !== null) return say.runOpen;
  if (i.missing) return say.missing;
  if (i.cable) return i.cable === "cable_short" ? say.cableShort : say.cableOpen;
  if (i.lost) return say.lost;
  if (result === "failed") return say.failed;
  if (snap.clock.quality === "unset") return say.clock;
  if (result === "stopped") return say.stopped;
  if (result === "") return say.unchecked;
  return i.supervised ? say.sound : say.single;
}

/** @param {Snapshot} snap @param {number} gone @returns {InputsShown["check"]} */
function checkOf(snap, gone) {
  const c = snap.inputs.check;
  if (c === null) return null;
  const steps = order.filter(([, l]) => l === "" || snap.inputs.lines.some((x) => x.line.startsWith(l)));
  const at = steps.findIndex(([a]) => a === c.ask);
  return {
    steps: steps.map(([a], n) => ({ ask: a, name: lookUp(askNames, a), state: at < 0 || n < at ? "done" : n === at ? "now" : "todo" })),
    left: minutes(Math.max(0, c.left_ms - gone)), found: c.found.map((key, n) => finding(key, c.lines[n] ?? "")),
    result: c.ask !== "" ? "" : c.passed ? "passed" : c.found.length > 0 ? "failed" : "stopped",
  };
}

/**
 * Progress is shown by fours: a mark that came with each tone could be pressed
 * at sight, and a box that nobody hears would get a figure.
 */
const toneGroup = 4;

/** @param {import("./contract.js").Timing|null} t @returns {InputsShown["latency"]} */
function latencyOf(t) {
  if (t === null) return null;
  const past = t.done ? t.of : Math.floor(Math.max(0, t.asked - 1) / toneGroup) * toneGroup;
  const pips = Array.from({ length: t.of }, (_, n) => /** @type {"given"|"due"} */ (n < past ? "given" : "due"));
  const when = t.done ? at(t.when) : "";
  if (!t.done || t.why !== "") return { pips, figure: "", text: t.done ? lookUp(noFigure, t.why) : "", detail: "", when };
  return {
    pips, figure: `${Math.round(t.mid_ms)} ms`, text: latencyWords.means(t.mid_ms), when,
    detail: `the middle of the presses after ${plural(t.asked, "tone")}; half of them within ${Math.round(t.spread_ms)} ms; the fastest ${Math.round(t.least_ms)} ms`,
  };
}

/** RFC 3339, apart. @param {string} wall */
function apart(wall) {
  const m = /^(\d{4}-\d\d-\d\d)T(\d\d:\d\d:\d\d)(?:\.\d+)?(Z|[+-]\d\d:\d\d)$/.exec(wall);
  return m ? { date: m[1] ?? "", time: m[2] ?? "", zone: m[3] ?? "Z" } : { date: "", time: "", zone: "Z" };
}

/** @param {string} wall */
function at(wall) {
  const { date, time } = apart(wall);
  return date && `${date} ${time.slice(0, 5)}`;
}

/**
 * An instant as the clock of a zone shows it.
 * @param {number} epochMs
 * @param {string} zone Z or an offset as in RFC 3339
 */
export function wallAt(epochMs, zone) {
  const m = /^([+-])(\d\d):(\d\d)$/.exec(zone);
  const offset = m ? (m[1] === "-" ? -1 : 1) * (Number(m[2]) * 60 + Number(m[3])) : 0;
  const d = new Date(epochMs + offset * 60_000);
  return Number.isNaN(d.getTime()) ? "" : d.toISOString().replace(/\.\d+Z$/, zone);
}

/**
 * @param {Snapshot} snap
 * @param {number} ageMs
 * @returns {ClockShown}
 */
export function clockShown(snap, ageMs) {
  const c = snap.clock;
  const known = apart(c.wall);
  const now = known.date === "" ? known : apart(wallAt(Date.parse(c.wall) + Math.min(Math.max(0, ageMs), staleAfterMs), known.zone));
  return {
    ...now, word: lookUp(qualities, c.quality), ok: c.quality !== "unset", unset: c.quality === "unset",
    wants: c.quality === "network" ? "" : c.trusted ? "look" : "right", trust: c.trusted ? "due dates stand on it" : "no due date stands on it until a person confirms it",
    steps: c.steps === 0 ? "no jump since the start" : `${plural(c.steps, "jump")} since the start; durations do not depend on it`,
  };
}

/**
 * What to send for a clock: the box's own time when nothing was changed.
 * @param {import("./contract.js").Clock} clock
 * @param {Edit} edit
 * @param {number} nowMs the time of this screen, ms since 1970
 * @returns {string} RFC 3339; empty when it is no time
 */
export function wallOf(clock, edit, nowMs) {
  if (edit === null) return clock.wall;
  if (edit.screen) return wallAt(nowMs, apart(clock.wall).zone);
  const time = /^\d\d:\d\d$/.test(edit.time) ? `${edit.time}:00` : edit.time;
  const wall = `${edit.date}T${time}${apart(clock.wall).zone}`;
  return apart(wall).date !== "" && !Number.isNaN(Date.parse(wall)) ? wall : "";
}

/** @param {number} n @param {string} word @param {string} [ending] */
function plural(n, word, ending = "s") {
  return `${n} ${word}${n === 1 ? "" : ending}`;
}

/** @param {number} ms */
function ago(ms) {
  const s = Math.floor(ms / 1000);
  if (s < 1) return "just now";
  if (s < 120) return `${s} s ago`;
  if (s < 7200) return `${Math.floor(s / 60)} min ago`;
  return `${Math.floor(s / 3600)} h ago`;
}

/** @param {number} bytes */
export function size(bytes) {
  const units = ["bytes", "kB", "MB", "GB", "TB"];
  let v = bytes;
  let u = 0;
  while (v >= 1000 && u < units.length - 1) {
    v /= 1000;
    u++;
  }
  return `${u === 0 || v >= 100 ? Math.round(v) : v.toFixed(1)} ${units[u]}`;
}

/** Room on the card below which it is said. */
const leastFree = 200e6;
/** A durable write that takes longer is said to be slow: facts are promised after it. */
const slowWriteMs = 250;

/**
 * The box's health in lines.
 * @param {Box} box
 * @returns {Fact[]}
 */
export function boxFacts(box) {
  const told = (/** @type {string} */ text) => text || "this board does not tell";
  const full = box.store_free < leastFree;
  return [
    { name: "Supply", of: "", word: told(box.volts && lookUp(volts, box.volts)), ok: box.volts !== "low" && box.volts !== "was_low" },
    { name: "Heat", of: box.heat === null ? "" : `${box.heat.toFixed(1)} °C`, word: box.heat === null ? told("") : box.heat_high ? "TOO HOT: give it air" : "hottest part", ok: !box.heat_high },
    box.store_of > 0
      ? { name: "Room for records", of: size(box.store_free), word: `free of ${size(box.store_of)}${full ? ", nearly FULL" : ""}: ${box.store_file}`, ok: !full }
      : { name: "Room for records", of: "", word: `not told: ${box.store_file || "kept in memory, gone with the power"}`, ok: true },
    {
      name: "Saving takes", of: box.write_ms === null ? "" : `${box.write_ms < 10 ? box.write_ms.toFixed(1) : Math.round(box.write_ms)} ms`,
      word: box.write_ms === null ? "not measured yet" : box.write_ms > slowWriteMs ? "SLOW: another card" : "for a small entry that outlives a power cut", ok: (box.write_ms ?? 0) <= slowWriteMs,
    },
    { name: "Contacts are", of: "", word: lookUp(timeSources, box.time_source), ok: true },
    { name: "Version", of: box.version, word: "", ok: true },
  ];
}
