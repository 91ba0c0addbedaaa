// SPDX-License-Identifier: Apache-2.0

// Words of the pages of the job around the runs by what they are for. The texts
// stand in lang/LANGUAGE/office.json.

import { sentences, t, under, wearerLanguages } from "./lang.js";

/**
 * Why the box refused, as a whole sentence. Those that end with a colon go on
 * with what the box says of it.
 */
export const refusals = sentences("office.refusals");

/** Why a test is due. */
export const dueWhys = sentences("office.dueWhys");

/** What happened, after which a test is due again: its button, what is noted, when it counts. */
export const triggers = ["weight", "dental", "scars", "model", "other"].map((key) => Object.assign(under(`office.triggers.${key}`, /** @type {const} */ (["name", "noted", "hint"])), { key }));

export const kinds = sentences("office.kinds");

/** Rule sets by id, where the box sends no name. */
export const rules = sentences("office.rules");

/** How strong a solution is, and the nebuliser that takes it. */
export const strengths = sentences("office.strengths");

/** What a column of a list may be: field and its name. @returns {[string, string][]} */
export const columns = () => Object.entries(sentences("office.columns"));

/** @returns {[string, string][]} */
export const delimiters = () => [[",", t("office.delimiters.comma")], [";", t("office.delimiters.semicolon")], ["\t", t("office.delimiters.tab")], ["|", t("office.delimiters.bar")]];
/** @type {string[]} */
export const encodings = ["utf-8", "utf-16le", "utf-16be", "windows-1252", "windows-1250", "iso-8859-2", "windows-1251", "windows-1253"];

/** Languages of cues and pages, by code, as their speakers write them. @type {Record<string, string>} */
export const languages = {
  ar: "العربية", bg: "български", cs: "čeština", de: "Deutsch", el: "ελληνικά", en: "English", es: "español", fr: "français", hi: "हिन्दी", hu: "magyar", it: "italiano",
  lt: "lietuvių", nl: "Nederlands", pl: "polski", pt: "português", ro: "română", ru: "русский", sk: "slovenčina", tr: "Türkçe", uk: "українська",
};

/**
 * What a form offers: languages that cues and pages have words in, and the one
 * that is noted already, so that saving the form does not lose it.
 * @param {string} noted a code, or what a list once said; empty for none
 * @returns {[string, string][]} code and name
 */
export function languageChoices(noted) {
  const codes = wearerLanguages.map((l) => l.code);
  if (noted !== "" && !codes.includes(noted)) codes.push(noted);
  return codes.map((code) => [code, (Object.hasOwn(languages, code) ? languages[code] : undefined) ?? code]);
}

/** The phrases under a prefix, in their order. @param {string} prefix */
const lines = (prefix) => Object.values(sentences(prefix));

/** What an erasure does, point by point. */
export const erasure = {
  get goes() {
    return lines("office.erasure.goes");
  },
  get stays() {
    return lines("office.erasure.stays");
  },
};

/** What a filling asks of a person, in order. */
export const filling = () => lines("office.filling");

/** Cautions that stand beside recipes and labels. */
export const cautions = () => lines("office.cautions");

/** What is done at the end of a day: with the mark or name it is for, and where. @type {Record<string, {text: (name: string) => string, href: (id: string) => string, word: () => string}>} */
export const chores = {
  rinse: { text: (name) => t("office.chores.rinse.text", { name }), href: () => "/kit", word: () => t("office.chores.rinse.to") },
  mist_check: { text: (name) => t("office.chores.mist_check.text", { name }), href: () => "/kit", word: () => t("office.chores.mist_check.to") },
  call_back: { text: (name) => (name ? t("office.chores.call_back.text", { name }) : t("office.chores.call_back.erased")), href: (id) => `/people/${encodeURIComponent(id)}`, word: () => t("office.chores.call_back.to") },
  back_up: { text: () => t("office.chores.back_up.text"), href: () => "/settings", word: () => t("office.chores.back_up.to") },
};

/** Steps of a visit beside the stages of a run. */
export const steps = sentences("office.steps");

/** Stages of a visit as the day shows them. @returns {[string, string][]} */
export const stages = () => Object.entries(sentences("office.stages"));
