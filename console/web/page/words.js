// SPDX-License-Identifier: Apache-2.0

// The words of a run by what they are for. The texts stand in lang/LANGUAGE/
// run.json; stars mark the words that matter most. Nothing here decides what is
// shown: state.js does.

import { english, known, retold, sentences, t, under } from "./lang.js";

/** @typedef {import("./lang.js").Sentences} Sentences */

/** Whys of the procedure, and of replies to commands. */
export const whys = sentences("run.whys");

/** Why something is practice, as the box wrote it, in the language of the page. @param {string} why */
export const practised = (why) => retold("run.practice_why", why);

/**
 * What the box lacks, part by part as it wrote it, in the language of the page.
 * @param {string} text
 */
export function lacking(text) {
  const each = text.split("; ").map((piece) => {
    const at = piece.indexOf(": ");
    const part = at < 0 ? null : (known("run.lacking_parts", piece.slice(0, at)) ?? known("run.part_names", piece.slice(0, at)));
    return part === null ? whyOf(piece) : t("run.lacking_part", { part, why: whyOf(piece.slice(at + 2)) });
  });
  return each.join("; ");
}

/** One reason of a part as the box wrote it. @param {string} piece */
const whyOf = (piece) => known("run.lacking_whys", piece) ?? known("run.part_whys", piece) ?? known("run.lost_whys", piece) ?? piece;

/** A part of the box by the name that the box gives it. @param {string} name */
export const partName = (name) => known("run.lacking_parts", name) ?? known("run.part_names", name) ?? name;

/** What the box says of a part, of sound, or of edges that it may lack. @param {string} text */
export const partWhy = (text) => text.split("; ").map(whyOf).join("; ");

/** Why there is no sound, short, where the line says already that there is none. @param {string} text */
export const soundWhy = (text) => partWhy((text.split("; ")[0] ?? "").replace(/^(no sound|sound lost): /, ""));

/** A rule set's name as its file has it. A house's own rule set keeps its name. @param {string} name */
export const ruleName = (name) => retold("run.rule_names", name);

/** Why a rule set does not allow a facepiece. @param {string} text */
export function ruleRefusal(text) {
  const told = retold("run.rule_refusals", text);
  const rules = sentences("run.rule_names");
  // The sentence begins with the rule set's name as the box gives it.
  const name = Object.keys(rules).map((key) => english(`run.rule_names.${key}`)).find((n) => told.startsWith(n)) ?? "";
  return name === "" ? told : ruleName(name) + told.slice(name.length);
}

/** A facepiece by the name that the box gives it; the one of a drill is no real one. @param {string} name */
export const pieceName = (name) => retold("run.pieces", name);

/** What prevails over the tool, as a rule set says it, else as we do. @param {string} [text] */
export const prevails = (text) => (text ? retold("run.prevails_told", text) : t("run.prevails"));

/** Why a run ended as it did. */
export const reasons = sentences("run.reasons");

export const outcomes = sentences("run.outcomes");

/** What an outcome means and what comes first. */
export const verdicts = sentences("run.verdicts");

/** What may follow a verdict. After some nothing does. */
export const nexts = sentences("run.nexts", ["nothing"]);

/** The proof after a pass. */
export const proofs = sentences("run.proofs");

/** Remarks on a run as a whole. */
export const onRun = sentences("run.on_run");

export const stages = sentences("run.stages");

/** Questions before the test, as a tester asks them: yes lets the run go on. */
export const questions = sentences("run.questions");

/** Roles of a nebuliser. */
export const roles = sentences("run.roles");

export const agents = sentences("run.agents");

export const remarks = sentences("run.remarks");

/** Faults of inputs and waits. */
export const faults = sentences("run.faults");

/**
 * Exercises: name, a short one for the strip, what the wearer is doing and does
 * to the end, each a whole sentence, and what the tester watches for.
 * @typedef {{name: string, short: string, doing: string, to_end: string, care: string}} ExerciseWords
 */
const parts = /** @type {const} */ (["name", "short", "doing", "to_end", "care"]);

/** @type {Record<string, ExerciseWords>} */
export const exercises = Object.fromEntries(
  ["normal_breathing", "deep_breathing", "head_side_to_side", "head_up_and_down", "talking", "bending_over", "normal_breathing_again"].map((id) => [id, under(`run.exercises.${id}`, parts)]),
);

/** Reasons that a tester gives for a corrected count, by direction. */
export const corrections = {
  get add() {
    return Object.values(sentences("run.corrections.add"));
  },
  get take() {
    return Object.values(sentences("run.corrections.take"));
  },
};

/** What a single-contact button lacks, and other lines of the head. */
export const health = under("run.health", /** @type {const} */ (["inputsSound", "unsupervised", "soundOn", "saved", "unsaved", "notSaving", "noSound", "muted"]));

/** A count as a word up to ten, as it stands before the word for squeezes. @param {number} n */
export const count = (n) => (n >= 0 && n <= 10 ? t(`run.count.${n}`) : String(n));

/** Sentences for the tester that stand on figures, by key. */
export const say = {
  none: () => t("run.say.none"),
  clockUnset: () => t("run.say.clockUnset"),
  missing: () => t("run.say.missing"),
  loading: () => t("run.say.loading"),
  blocked: (/** @type {string} */ why) => lookUp(whys, why),
  ready: () => t("run.say.ready"),
  screeningFirst: () => t("run.say.screeningFirst"),
  screening: () => t("run.say.screening"),
  screeningFull: () => t("run.say.screeningFull"),
  clearing: () => t("run.say.clearing"),
  donning: () => t("run.say.donning"),
  donned: () => t("run.say.donned"),
  dosing: (/** @type {number} */ left) => t("run.say.dosing", { n: left, count: count(left) }),
  due: (/** @type {number} */ left, /** @type {string} */ ex) => `${t("run.say.due", { n: left, count: count(left) })} ${exercise(ex).doing}`,
  soon: (/** @type {number} */ n, /** @type {string} */ at) => t("run.say.soon", { n, count: count(n), at }),
  waiting: (/** @type {number} */ n, /** @type {string} */ at, /** @type {string} */ ex) => `${t("run.say.waiting", { n, count: count(n), at })} ${exercise(ex).doing}`,
  last: (/** @type {string} */ ex) => exercise(ex).to_end,
  provingButton: () => t("run.say.provingButton"),
  ending: () => t("run.say.ending"),
  unnoted: () => t("run.say.unnoted"),
  provingMist: () => t("run.say.provingMist"),
  verdict: (/** @type {string} */ outcome) => lookUp(verdicts, outcome),
};

/**
 * A sentence by key; the key itself, readable, when there is none.
 * @param {Sentences} from
 * @param {string} key
 */
export function lookUp(from, key) {
  return (Object.hasOwn(from, key) ? from[key] : undefined) ?? key.replaceAll("_", " ");
}

/** @param {string} id @returns {ExerciseWords} */
export function exercise(id) {
  const plain = id.replaceAll("_", " ");
  return (Object.hasOwn(exercises, id) ? exercises[id] : undefined) ?? { name: plain, short: plain, doing: `${plain}.`, to_end: `${plain}.`, care: "" };
}

/** A fault as stored, "what: detail". @param {string} text */
export function fault(text) {
  const [what = "", ...detail] = text.split(": ");
  return lookUp(faults, what) + (detail.length ? ` (${partWhy(detail.join(": "))})` : "");
}
