// SPDX-License-Identifier: Apache-2.0

// The sentences of the page Inputs, by key. Stars mark the words that matter.
// Nothing here decides what is shown: state-inputs.js does.

import { lookUp } from "./words.js";

/** @typedef {import("./words.js").Sentences} Sentences */

/** Contacts as a heading. @type {Sentences} */
export const contacts = {
  squeeze: "Bulb", step: "Step", taste_no: "Button, closing", taste_nc: "Button, opening", taste: "Button",
};

/** Contacts in a sentence. @type {Sentences} */
export const inSentence = {
  squeeze: "the bulb's contact", step: "the step contact", taste_no: "the button's closing contact", taste_nc: "the button's opening contact", taste: "the button's contact",
};

/** The guided check, a sentence at a time. @type {Sentences} */
export const asks = {
  rest: "Hands off. Touch *nothing* for two seconds.",
  press_squeeze: "Squeeze the *bulb* and hold it.",
  let_squeeze: "Let the bulb *go*.",
  press_step: "Press the *step* contact and hold it.",
  let_step: "Let the step contact *go*.",
  press_button: "Press the *wearer's button* and hold it.",
  let_button: "Let the button *go*.",
};

/** The same in a word, for the row of requests. @type {Sentences} */
export const askNames = {
  rest: "nothing", press_squeeze: "bulb", let_squeeze: "let go", press_step: "step", let_step: "let go", press_button: "button", let_button: "let go",
};

/** @param {string[]} lines */
function list(lines) {
  const names = lines.map((l) => lookUp(inSentence, l));
  return names.length < 2 ? (names[0] ?? "a contact") : `${names.slice(0, -1).join(", ")} and ${names.at(-1)}`;
}

/** @param {string} text */
const capital = (text) => text.charAt(0).toUpperCase() + text.slice(1);

/** Contacts that one movement moves belong together. @param {string|undefined} line */
const group = (line) => (line?.startsWith("taste") ? "button" : line);

/** @type {Record<string, (asked: string[], others: string[]) => string>} */
export const findings = {
  moved_instead: (a, o) => `Crossed: asked for ${list(a)}, moved ${list(o)}. Their wires are swapped at one end.`,
  moved_too: (a, o) => `Joined: with ${list(a)} moved ${list(o)}. Two wires touch, or share a terminal.`,
  did_not_move: (a) => `Nothing came from ${list(a)}. Plugged in? Wire whole?`,
  pair_half: (a) => `Half: ${list(a.slice(-1))} moved, ${list(a.slice(0, -1))} did not. One of the button's wires is broken or in the wrong terminal.`,
  nc_and_no_swapped: () => "Reversed: the button reads as pressed while nobody presses it. Its two wires are swapped, or it is stuck down.",
  stuck: (a) => `Stuck: ${list(a)} is closed while nobody touches it. A wire in the wrong terminal, or a contact that does not open.`,
  not_let_go: (a) => `Not let go: ${list(a)} did not come back.`,
  cable_open: () => "Cable out: both of the button's contacts are open. Pushed home? A wire broken?",
  cable_short: () => "Shorted: both of the button's contacts are closed. Two of its wires touch.",
  noisy: (a) => `Restless: ${list(a)} does not come to stand. A loose wire, or one that lies beside the mains.`,
};

/**
 * A finding in words. Its lines begin with those that were asked for.
 * @param {string} key
 * @param {string} lines comma between several
 */
export function finding(key, lines) {
  const all = lines === "" ? [] : lines.split(",");
  const apart = all.findIndex((l) => group(l) !== group(all[0]));
  const asked = apart < 0 || key === "noisy" || key === "not_let_go" ? all : all.slice(0, apart);
  const of = Object.hasOwn(findings, key) ? findings[key] : undefined;
  return of ? capital(of(asked, all.slice(asked.length))) : `${capital(key.replaceAll("_", " "))}${all.length ? `: ${list(all)}` : ""}.`;
}

/** Cues that can be tried, and what each means in a run. @type {[string, string, string][]} */
export const tones = [
  ["squeeze_counted", "Counted", "a squeeze was taken"],
  ["top_up_due", "Due", "squeeze now"],
  ["dose_done", "Complete", "the dose is given"],
  ["exercise_change", "Change", "next exercise"],
  ["fault", "Fault", "an input is faulty"],
  ["stop", "Stop", "tasted: hood off"],
];

/** Why there is no figure of the self-test. @type {Sentences} */
export const noFigure = {
  too_few: "No figure: too few presses came after a tone. Squeeze each time, as soon as you hear it.",
  too_wide: "No figure: the presses lie too far apart. Try again where it is quiet, with a hand on the contact.",
};

/** Where the wall time comes from. @type {Sentences} */
export const qualities = {
  unset: "not set: nobody has confirmed the date",
  restored: "restored from before the power went: may be behind",
  confirmed: "confirmed by a person",
  network: "set from the network",
};

/** @type {Sentences} */
export const volts = {
  sound: "sound",
  low: "LOW now: counts may be lost. Another supply, a shorter cable",
  was_low: "was low since the start: another supply, a shorter cable",
};

/** What an edge's time is. @type {Sentences} */
export const timeSources = {
  "kernel time": "dated by the kernel at the edge",
  "arrival time": "dated on arrival, some tenths of a millisecond late",
};

/** States of a part. @type {Sentences} */
export const parts = { loaded: "loaded", absent: "absent", failed: "FAILED" };

/** Sentences of the page as a whole. */
export const say = {
  runOpen: "A run is open. Look as you like; checks come when it is *set aside*.",
  lost: "Some changes may have been *missed*.",
  cableOpen: "The button's cable is *open*. No run can pass like this.",
  cableShort: "The button is *shorted*. No run can pass like this.",
  missing: "A contact is *missing*. No run can be opened until it is back.",
  clock: "The clock is *not set*. Confirm the date before a run.",
  unchecked: "The wires have *not been checked* since the start. It takes a minute.",
  failed: "The wires are *not right*. Mend what is listed, then check again.",
  stopped: "The check was ended *before it was complete*. It says nothing.",
  single: "The contacts answer. The button has *one* contact: a broken cable would go unseen.",
  sound: "The contacts answer, and no wire is *crossed*.",
  listen: "Squeeze the bulb *when you hear* the tone.",
  learnSqueeze: "Press the pedal for *squeezes* now, once.",
  learnStep: "Press the pedal for *step* now, once.",
};

/** Below the first a press was a guess; above the second, sound comes late. */
const guessMs = 100;
const lateMs = 400;

export const latency = {
  what: "The box sounds a tone, you squeeze or press the button when you hear it. The figure tells what sound and contact take together.",
  /** @param {number} ms */
  means: (ms) =>
    ms < guessMs
      ? "Nobody hears and presses so fast: pressed by guess. Measure again."
      : ms <= lateMs
        ? "As it should be. Most of it is ear and hand, published as 140 to 160 ms for young people: sound and contact add little."
        : "Late. Ear and hand need 140 to 160 ms, as published for young people. Measure again; if it stays, look at the loudspeaker: one without a cable, or in a television, adds most.",
};

/** What to be careful of. @type {[string, string][]} */
export const cautions = [
  ["Extra-low voltage only", "At most 24 V direct current, from a closed supply bought ready. No mains wire enters the box."],
  ["Nothing warms, stiffens or holds the bulb", "It goes flat and fills by itself. A stiff clip or a leak thins the mist, and thin mist is a false pass."],
  ["Clean between wearers", "Whatever a wearer touches is wiped, with its plug pulled. Residue on a button tastes on the lips later."],
  ["Cables out of the way", "Taped down or under a cover, above all where someone under a hood turns and bends."],
];
