// SPDX-License-Identifier: Apache-2.0

// The sentences of the page Inputs by what they are for. The texts stand in
// lang/LANGUAGE/inputs.json. Nothing here decides what is shown:
// state-inputs.js does.

import { has, listOf, retold, sentences, t, under } from "./lang.js";
import { lookUp, partWhy } from "./words.js";

/** Contacts as a heading. */
export const contacts = sentences("inputs.contacts");

/** Contacts in a sentence. */
export const inSentence = sentences("inputs.inSentence");

/** The guided check, a sentence at a time. */
export const asks = sentences("inputs.asks");

/** The same in a word, for the row of requests. */
export const askNames = sentences("inputs.askNames");

/** What the check finds. */
export const findings = sentences("inputs.findings");

/** @param {string[]} lines */
const list = (lines) => (lines.length === 0 ? t("inputs.a_contact") : listOf(lines.map((l) => lookUp(inSentence, l))));

/** @param {string} text */
const capital = (text) => text.charAt(0).toUpperCase() + text.slice(1);

/** Contacts that one movement moves belong together. @param {string|undefined} line */
const group = (line) => (line?.startsWith("taste") ? "button" : line);

/**
 * A finding in words. Its lines begin with those that were asked for.
 * @param {string} key
 * @param {string} lines comma between several
 */
export function finding(key, lines) {
  const all = lines === "" ? [] : lines.split(",");
  const apart = all.findIndex((l) => group(l) !== group(all[0]));
  const asked = apart < 0 || key === "noisy" || key === "not_let_go" ? all : all.slice(0, apart);
  // Of the button's pair the last one moved.
  const [still, moved] = key === "pair_half" ? [asked.slice(0, -1), asked.slice(-1)] : [asked, all.slice(asked.length)];
  if (has(`inputs.findings.${key}`)) return t(`inputs.findings.${key}`, { asked: list(still), moved: list(moved) });
  return `${capital(key.replaceAll("_", " "))}${all.length ? `: ${list(all)}` : ""}.`;
}

const cues = ["squeeze_counted", "top_up_due", "dose_done", "exercise_change", "fault", "stop"];

/** Cues that can be tried, and what each means in a run. @returns {[string, string, string][]} */
export const tones = () => cues.map((cue) => [cue, t(`inputs.tones.${cue}.name`), t(`inputs.tones.${cue}.means`)]);

/** Why there is no figure of the self-test. */
export const noFigure = sentences("inputs.noFigure");

/** Where the wall time comes from. */
export const qualities = sentences("inputs.qualities");

export const volts = sentences("inputs.volts");

/** What an edge's time is, by what the box says of it. */
export const timeSource = (/** @type {string} */ name) => lookUp(sentences("inputs.timeSources"), name.replaceAll(" ", "_"));

/** States of a part. */
export const parts = sentences("inputs.parts");

/** Sentences of the page as a whole. */
export const say = under("inputs.say", /** @type {const} */ (["runOpen", "lost", "cableOpen", "cableShort", "missing", "clock", "unchecked", "failed", "stopped", "single", "sound", "listen", "learnSqueeze", "learnStep", "bulbRest", "bulbSqueeze"]));

/** Below the first a press was a guess; above the second, sound comes late. */
const guessMs = 100;
const lateMs = 400;

export const latency = {
  get what() {
    return t("inputs.latency.what");
  },
  /** @param {number} ms */
  means: (ms) => t(ms < guessMs ? "inputs.latency.guess" : ms <= lateMs ? "inputs.latency.good" : "inputs.latency.late"),
};

/** Why the bulb was not learned, or not kept: a key, or what the box says. @param {string} why */
export function bulbWhy(why) {
  if (has(`inputs.bulb_ends.${why}`)) return t(`inputs.bulb_ends.${why}`);
  // What breaks it off is what the sensor is said to lack.
  const broken = /^the (?:calibration was broken off|bulb cannot be calibrated): (.*)$/.exec(why);
  return broken ? t("inputs.bulb.broken_off", { why: partWhy(broken[1] ?? "") }) : `${capital(retold("inputs.bulb_whys", why))}.`;
}

/** What to be careful of. @returns {[string, string][]} */
export const cautions = () => ["voltage", "bulb", "clean", "cables"].map((key) => [t(`inputs.cautions.${key}.name`), t(`inputs.cautions.${key}.text`)]);
