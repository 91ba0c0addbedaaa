// SPDX-License-Identifier: Apache-2.0

// Words of Records, Insight and Settings by what they are for. The texts stand
// in lang/LANGUAGE/desk.json.

import { sentences, t, under } from "./lang.js";
import { lookUp, reasons } from "./words.js";

/** Why the box refused something of these pages, where words-office.js has no word for it. */
export const refusals = sentences("desk.refusals");

/** Why there is no wallet card. */
export const noCard = sentences("desk.noCard");

/** Labels of a record that can be corrected. */
export const labels = sentences("desk.labels");

/** Who signs. */
export const signers = sentences("desk.signers");

/** What a signature says, beside the pad. */
export const signing = sentences("desk.signing");

/** What a part of the box was at the opening. */
export const pieces = sentences("desk.pieces");

/** Why a run was recalled, by the words that the journal has for it. @type {Record<string, string>} */
const recallKeys = {
  "nebuliser found clogged": "desk.recall_clogged", "nebuliser filled anew or changed while the test had it in use": "desk.recall_changed",
  "batch of solution was entered wrongly": "desk.recall_batch", "no pass any more in the store that a restore replaced": "desk.recall_restored",
};

/** Why a run was recalled, as a sentence. @param {string} why as the journal has it */
export function recallWhy(why) {
  const key = Object.hasOwn(recallKeys, why) ? recallKeys[why] : undefined;
  return key ? t(key) : lookUp(reasons, why);
}

/** How far the wall time of a record can be trusted. */
export const qualities = sentences("desk.qualities");

/** The phrases under a prefix, in their order. @param {string} prefix */
const lines = (prefix) => Object.values(sentences(prefix));

/** What a proof shows, and what it does not. */
export const evidence = {
  get shows() {
    return lines("desk.evidence.shows");
  },
  get not() {
    return lines("desk.evidence.not");
  },
};

/** Rule sets: their own limits in months, as the published texts have them. 0: the rule names none. @type {Record<string, {retest: number, keep: number}>} */
export const limits = { "us-osha": { retest: 12, keep: 0 }, "uk-hse": { retest: 0, keep: 60 } };

/** A rule set's name and what its text says of the limits. @param {string} id */
export const limitWords = (id) => under(`desk.limits.${id.replace("-", "_")}`, /** @type {const} */ (["name", "retest", "keep"]));

/** What a backup is and is not. */
export const backups = {
  get is() {
    return lines("desk.backups.is");
  },
  get not() {
    return lines("desk.backups.not");
  },
};

/** What this program holds of others. @returns {[string, string][]} */
export const licences = () => [["tallyhood", "Apache License 2.0"], [t("desk.licences.lit"), "BSD 3-Clause"], [t("desk.licences.modules"), t("desk.licences.each")]];

/** Before letters are turned into names. */
export const letters = () => lines("desk.letters");

/** Counts of outcomes in words, those that are none left out. @param {Record<string, number>} counts */
export const tally = (counts) => Object.entries(counts).filter(([, n]) => n !== 0).map(([key, n]) => t(`desk.tally.${key}`, { n })).join(", ");
