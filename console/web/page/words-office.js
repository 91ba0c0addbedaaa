// SPDX-License-Identifier: Apache-2.0

// Sentences of the pages of the job around the runs, by key.

/** @typedef {Record<string, string>} Sentences */

/**
 * Why the box refused, as a whole sentence. Those that end with a colon go on
 * with what the box says of it.
 * @type {Sentences}
 */
export const refusals = {
  no_answer: "The box did not answer. Look whether it happened before you try again.",
  missing: "Something is still missing:",
  too_long: "That is too long:",
  characters: "That holds characters that cannot be printed:",
  day: "A date does not fit:",
  instant: "A time does not fit:",
  number: "A number is out of bounds:",
  size: "That size cannot be: a hood measures up to 2000 mm.",
  id: "The box could not take the name of this entry:",
  unknown: "The box does not know that:",
  not_known: "That is not there any more:",
  type: "The kind of facepiece is not known:",
  role: "A nebuliser is for the weak or for the strong solution. Choose one.",
  strength: "A batch is weak or strong. Choose one.",
  agent: "The agent is sweet or bitter. Choose one.",
  mark_taken: "Another nebuliser has this mark. The mark is read out before each part of a test, so each needs its own.",
  role_fixed: "A nebuliser that was filled once keeps its role and its agent, so that weak and strong are never mixed up. Enter another one.",
  nebuliser_of_other_role: "This batch is for the other nebuliser: weak for the sensitivity test, strong for the fit test.",
  nebuliser_of_other_agent: "This batch is of the other agent. Each nebuliser keeps to one.",
  solution_expired: "This batch is past its date. Open or make another.",
  changed: "Something has changed since this was shown. It stands here anew: look again, then confirm.",
  no_runs: "There is no run that it would concern.",
  practice: "Practice is not signed.",
  clock: "The box does not know what day it is. Confirm its clock on the page Inputs first.",
  future: "That day is still to come:",
  left: "This person has left. Nothing more is noted about who has left.",
  number_taken: "Each company number is one person's:",
  twice: "A facepiece stands twice in the list. Name each once.",
  not_shown: "A bad mist check takes tests with it. Look at them first, then confirm.",
  good: "A good mist check takes no test with it.",
  nobody: "Nobody was shown who may be erased.",
  volume: "That amount is out of bounds:",
  place: "That place on the list is out of bounds:",
  looser: "The house may ask for more than the rules, never for less:",
  token: "The box has put that list away meanwhile. Choose the file once more.",
  file: "This file cannot be read as a list:",
  busy: "The box is busy with something of the kind. Try again when it is over.",
  run_open: "A run is open. This waits for its end: try again then.",
  not_there: "This box cannot do that.",
  not_saved: "Nothing can be saved now. See the page Inputs for the state of the box.",
  erased: "This person was erased.",
  malformed: "The box does not take it as it stands:",
  origin: "The box refused, since this page did not come from it. Open the page from the box's own address.",
  too_large: "The file is larger than the box takes: up to 16 MB.",
  content_type: "The box does not take a file of this kind.",
  too_slow: "That took the box too long. Try again when it is less busy.",
  failed: "That did not work; the fault is the box's. Its log says more.",
  journal_failed: "Facts cannot be saved. Nothing was noted; see the page Inputs for the state of the box.",
};

/** Why a test is due. @type {Sentences} */
export const dueWhys = {
  never_tested: "never tested with it",
  interval: "the regular test",
  trigger: "something changed since",
  recalled: "the last test was recalled",
  date_unknown: "the day of the last test is not sure",
  failed: "the last test failed",
  changed: "the entry of the facepiece is another than the one tested",
  gone: "this facepiece is not used any more; name another",
};

/** What happened, after which a test is due again: its button, what is noted, when it counts. */
export const triggers = [
  { key: "weight", name: "Weight", noted: "a marked change of weight", hint: "clearly more or less" },
  { key: "dental", name: "Dental work", noted: "substantial dental work", hint: "teeth, dentures, a brace" },
  { key: "scars", name: "Scars", noted: "scars or another change where the seal runs", hint: "where the seal runs" },
  { key: "model", name: "Other model", noted: "another make, model or size", hint: "or another size" },
  { key: "other", name: "Something else", noted: "something else that may change the fit", hint: "may change the fit" },
];

/** @type {Sentences} */
export const kinds = { disposable: "disposable", half_mask: "half mask", full_face: "full face mask" };

/** Rule sets by id, where the box sends no name. @type {Sentences} */
export const rules = { "us-osha": "US rule", "uk-hse": "UK rule" };

/** What a column of a list may be: field and its name. @type {[string, string][]} */
export const columns = [
  ["name", "Name"], ["given_name", "Given name"], ["family_name", "Family name"], ["number", "Company number"], ["job", "Job"], ["languages", "Languages"], ["facepieces", "Facepieces"], ["rules", "Rules"], ["agent", "Agent"],
  ["note", "Note"],
];

/** @type {[string, string][]} */
export const delimiters = [[",", "comma"], [";", "semicolon"], ["\t", "tab"], ["|", "bar"]];
/** @type {string[]} */
export const encodings = ["utf-8", "utf-16le", "utf-16be", "windows-1252", "windows-1250", "iso-8859-2", "windows-1251", "windows-1253"];

/** Languages of cues and pages, by code, as their speakers write them. @type {Sentences} */
export const languages = {
  ar: "العربية", bg: "български", cs: "čeština", de: "Deutsch", el: "ελληνικά", en: "English", es: "español", fr: "français", hi: "हिन्दी", hu: "magyar", it: "italiano",
  lt: "lietuvių", nl: "Nederlands", pl: "polski", pt: "português", ro: "română", ru: "русский", sk: "slovenčina", tr: "Türkçe", uk: "українська",
};

/** What an erasure does, point by point. */
export const erasure = {
  goes: [
    "The name, number, job, note, languages, clearance and what happened: everything that was entered about this person.",
    "The key under which all of it was written. Nobody can read it again, on this box or in a copy made from now on.",
    "The name in every record of a test. It reads erased from then on, on screen and on paper.",
  ],
  stays: [
    "That tests took place, with their facepiece, dates, outcomes and testers, without saying whose they were.",
    "One line in the journal: that a person was erased, why, and by whom. The reason is kept, so write no name into it.",
    "Copies outside this box: printed records, cards, lists and backups made earlier. They are yours to destroy.",
  ],
};

/** What a filling asks of a person, in order. */
export const filling = ["Empty it and rinse it with water.", "Fill in about 1 ml, from the bottle that bears this lot.", "Squeeze once, away from faces: fine mist has to come."];

/** Cautions that stand beside recipes and labels. */
export const cautions = [
  "Weigh powder with gloves and eye protection, and follow its safety data sheet.",
  "Label each bottle: agent, weak or strong, lot, made, expires, by whom.",
  "A recipe is taken as it is published. None is computed from another.",
  "Somebody with a known reaction to an agent gets the other one, or a quantitative test.",
];

/** What is done at the end of a day: with the mark or name it is for, and where. @type {Record<string, {text: (name: string) => string, href: (id: string) => string, word: string}>} */
export const chores = {
  rinse: { text: (name) => `Rinse and dry ${name}`, href: () => "/kit", word: "Kit" },
  mist_check: { text: (name) => `Look at the mist of ${name}: it was used since it was last seen`, href: () => "/kit", word: "Mist check" },
  call_back: { text: (name) => `Call back ${name || "somebody who was erased"}: the test does not stand`, href: (id) => `/people/${encodeURIComponent(id)}`, word: "Person" },
  back_up: { text: () => "Make a backup", href: () => "/settings", word: "Settings" },
};

/** Steps of a visit beside the stages of a run. @type {Sentences} */
export const steps = { ready: "Questions and explanation", after: "Hood off, record, next one in" };

/** Stages of a visit as the day shows them. @type {[string, string][]} */
export const stages = [
  ["ready", "questions"], ["screening", "sensitivity"], ["clearing", "clear taste"], ["donning", "wear it"], ["running", "fit test"], ["over", "done"],
];
