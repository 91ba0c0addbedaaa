// SPDX-License-Identifier: Apache-2.0

// What the page Inputs shows of a snapshot of a certain age: pure.

import { figure, t } from "./lang.js";
import { minutes, staleAfterMs } from "./state.js";
import { asks, askNames, bulbWhy, contacts, finding, latency as latencyWords, noFigure, qualities, say, timeSource, volts } from "./words-inputs.js";
import { faults, lacking, lookUp, partName, partWhy } from "./words.js";

/** @typedef {import("./contract.js").Snapshot} Snapshot */
/** @typedef {import("./contract.js").Box} Box */
/** @typedef {{line: string, name: string, source: string, closed: boolean, word: string, counts: string, moved: string, asked: boolean}} Contact */
/** @typedef {{name: string, of: string, word: string, ok: boolean}} Fact */
/**
 * @typedef {object} InputsShown
 * @property {"idle"|"check"|"latency"|"learn"|"bulb"} mode
 * @property {string} sentence   stars mark the words that matter
 * @property {boolean} runOpen
 * @property {Contact[]} contacts
 * @property {Fact} button       its supervision
 * @property {string[]} wrong    what is missing or lost, in words
 * @property {{steps: {ask: string, name: string, state: "done"|"now"|"todo"}[], left: string, found: string[], result: ""|"passed"|"failed"|"stopped"}|null} check
 * @property {{pips: ("given"|"due")[], figure: string, text: string, detail: string, when: string}|null} latency
 * @property {BulbShown|null} bulb  null without a bulb sensor
 * @property {ClockShown} clock
 */
/**
 * The calibration of the bulb sensor. Kept says in words whether one is in use and
 * of when; beside is what the new one makes doubtful.
 * @typedef {{stage: string, pips: ("given"|"due")[], done: number, left: string, known: boolean, kept: string, why: string, beside: string}} BulbShown
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
  const mode = ask !== "" ? "check" : i.latency && !i.latency.done ? "latency" : i.learn !== "" ? "learn" : i.bulb?.stage === "rest" || i.bulb?.stage === "squeeze" ? "bulb" : "idle";
  const moves = order.find(([a]) => a === ask)?.[1] ?? "";
  const check = checkOf(snap, gone);
  return {
    mode, runOpen: snap.run !== null, check, latency: latencyOf(i.latency), bulb: bulbOf(i.bulb, gone), clock: clockShown(snap, ageMs),
    sentence: mode === "check" ? lookUp(asks, ask) : mode === "latency" ? say.listen : mode === "learn" ? (i.learn === "step" ? say.learnStep : say.learnSqueeze) : mode === "bulb" ? (i.bulb?.stage === "rest" ? say.bulbRest : say.bulbSqueeze) : overview(snap, check?.result ?? ""),
    contacts: i.lines.map((l) => ({
      line: l.line, name: lookUp(contacts, l.line), source: partName(l.source), closed: l.closed, word: l.closed ? t("inputs.closed") : t("inputs.open"),
      counts: l.line === "taste_nc" ? t("inputs.changes_nc", { n: l.edges }) : `${t("inputs.changes", { n: l.edges, rejected: l.rejected })}; ${t("inputs.presses", { n: l.presses, doubtful: l.doubtful })}`,
      moved: l.edges === 0 ? t("inputs.not_moved") : t("inputs.moved", { ago: ago(l.quiet_ms + gone) }),
      asked: moves !== "" && l.line.startsWith(moves),
    })),
    button: {
      name: t("inputs.wearers_button"), of: i.report ? t("inputs.pressed") : t("inputs.not_pressed"),
      word: i.cable ? lookUp(faults, i.cable) : i.supervised ? t("inputs.pair") : t("inputs.single"), ok: i.cable === "",
    },
    wrong: [...(i.missing ? [lacking(i.missing)] : []), ...(i.lost ? [t("inputs.may_lack", { what: partWhy(i.lost) })] : [])],
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

/** @param {import("./contract.js").Timing|null} m @returns {InputsShown["latency"]} */
function latencyOf(m) {
  if (m === null) return null;
  const past = m.done ? m.of : Math.floor(Math.max(0, m.asked - 1) / toneGroup) * toneGroup;
  const pips = Array.from({ length: m.of }, (_, n) => /** @type {"given"|"due"} */ (n < past ? "given" : "due"));
  const when = m.done ? at(m.when) : "";
  if (!m.done || m.why !== "") return { pips, figure: "", text: m.done ? lookUp(noFigure, m.why) : "", detail: "", when };
  return {
    pips, figure: `${Math.round(m.mid_ms)} ms`, text: latencyWords.means(m.mid_ms), when,
    detail: t("inputs.latency.detail", { n: m.asked, within: Math.round(m.spread_ms), fastest: Math.round(m.least_ms) }),
  };
}

/**
 * With the same bulb and nebuliser a flat squeeze pushes out what it did before:
 * as far as the squeezes of one calibration may lie apart (device/bulb/curve).
 */
const sameAir = { least: 80, most: 125 };

/** @param {import("./contract.js").Bulb|undefined} b @param {number} gone @returns {BulbShown|null} */
function bulbOf(b, gone) {
  if (b === undefined) return null;
  const when = at(b.when);
  const n = b.of_before;
  return {
    stage: b.stage, done: b.done, pips: Array.from({ length: b.of }, (_, i) => (i < b.done ? "given" : "due")), left: minutes(Math.max(0, b.left_ms - gone)), known: b.known,
    kept: b.known ? (when ? t("inputs.bulb.kept", { when }) : t("inputs.bulb.kept_undated")) : t("inputs.bulb.none"),
    why: b.why === "" ? "" : bulbWhy(b.why),
    beside: n === 0 || (n >= sameAir.least && n <= sameAir.most) ? "" : t(n < sameAir.least ? "inputs.bulb.less" : "inputs.bulb.more", { percent: n }),
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
    wants: c.quality === "network" ? "" : c.trusted ? "look" : "right", trust: c.trusted ? t("inputs.clock.stands") : t("inputs.clock.stands_not"),
    steps: c.steps === 0 ? t("inputs.clock.no_jump") : t("inputs.clock.jumps", { n: c.steps }),
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

/** @param {number} ms */
function ago(ms) {
  const s = Math.floor(ms / 1000);
  if (s < 1) return t("inputs.just_now");
  if (s < 120) return t("inputs.ago_s", { n: s });
  if (s < 7200) return t("inputs.ago_min", { n: Math.floor(s / 60) });
  return t("inputs.ago_h", { n: Math.floor(s / 3600) });
}

/** @param {number} bytes */
export function size(bytes) {
  const units = ["", "kB", "MB", "GB", "TB"];
  let v = bytes;
  let u = 0;
  while (v >= 1000 && u < units.length - 1) {
    v /= 1000;
    u++;
  }
  return u === 0 ? t("inputs.size_bytes", { n: v }) : `${figure(v, v >= 100 ? 0 : 1)} ${units[u]}`;
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
  const told = (/** @type {string} */ text) => text || t("inputs.box.silent");
  const full = box.store_free < leastFree;
  return [
    { name: t("inputs.box.supply"), of: "", word: told(box.volts && lookUp(volts, box.volts)), ok: box.volts !== "low" && box.volts !== "was_low" },
    { name: t("inputs.box.heat"), of: box.heat === null ? "" : `${figure(box.heat, 1)} °C`, word: box.heat === null ? told("") : box.heat_high ? t("inputs.box.too_hot") : t("inputs.box.hottest"), ok: !box.heat_high },
    box.store_of > 0
      ? { name: t("inputs.box.room"), of: size(box.store_free), word: t(full ? "inputs.box.nearly_full" : "inputs.box.free", { of: size(box.store_of), file: box.store_file }), ok: !full }
      : { name: t("inputs.box.room"), of: "", word: t("inputs.box.not_told", { file: box.store_file || t("inputs.box.in_memory") }), ok: true },
    {
      name: t("inputs.box.saving"), of: box.write_ms === null ? "" : `${figure(box.write_ms, box.write_ms < 10 ? 1 : 0)} ms`,
      word: box.write_ms === null ? t("inputs.box.unmeasured") : box.write_ms > slowWriteMs ? t("inputs.box.slow") : t("inputs.box.durable"), ok: (box.write_ms ?? 0) <= slowWriteMs,
    },
    { name: t("inputs.box.contacts"), of: "", word: timeSource(box.time_source), ok: true },
    { name: t("inputs.box.version"), of: box.version, word: "", ok: true },
  ];
}
