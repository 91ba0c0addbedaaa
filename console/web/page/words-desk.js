// SPDX-License-Identifier: Apache-2.0

// Sentences of Records, Insight and Settings, by key.

/** @typedef {Record<string, string>} Sentences */

/** Why the box refused something of these pages, where words-office.js has no word for it. @type {Sentences} */
export const refusals = {
  changed: "The record has changed since it was shown, so nothing was signed. It stands here anew: read it again, then sign.",
  retention_changed: "Who may go has changed since it was shown, so nobody was erased. It stands here anew: read it again, then confirm.",
  strokes: "There is no drawing yet, or it is too long. Draw once more, or type the name.",
  field: "This cannot be corrected: the facts of a run stand as they are.",
  months: "Those months are out of bounds.",
  hoods: "A site uses one to ten hoods at once.",
  not_there: "This box does not do that: the part for it is not there.",
  not_first: "This box has records. Only a box without any can be restored.",
  run_open: "A run is open. This waits for its end.",
  too_large: "That file is larger than a backup may be.",
  too_slow: "It took longer than it may, and was given up.",
  malformed: "That was not taken:",
  failed: "It did not work; the fault is the box's, and its log says more.",
  erased: "The person was erased, and what was sealed cannot be opened.",
  not_a_pass: "There is no card: only a pass has one.",
  recalled: "There is no card: the run was recalled, and its pass does not stand.",
  proof: "There is no card: with the seal broken nothing was tasted, so the pass does not stand.",
  date_unknown: "There is no card: the box's clock could not be trusted on that day.",
  facepiece_unknown: "There is no card: make, model and size of the facepiece are not all known.",
  no_name: "There is no card: the wearer has neither a name nor a number.",
  busy: "Something of the kind is under way. Wait for its end.",
  clock: "The box does not know for sure what day it is. Confirm the date on the page Inputs first.",
  clock_unset: "The box's clock is not set for sure. Confirm the date on the page Inputs first.",
};

/** Why there is no wallet card. @type {Sentences} */
export const noCard = {
  open: "The run is still open.",
  practice: "It was practice, which is never a test record.",
  recalled: "The run was recalled, and its pass does not stand.",
  outcome: "Only a pass has a card.",
  proof: "With the seal broken nothing was tasted, so the pass does not stand.",
  date: "The box's clock could not be trusted on that day, so the card would have no date.",
  erased: "The person was erased.",
  name: "The wearer has neither a name nor a number.",
  facepiece: "Make, model and size of the facepiece are not all known.",
  unknown: "The box does not offer it here.",
};

/** Labels of a record that can be corrected. @type {Sentences} */
export const labels = { tester: "Tester", whose: "Whose piece, and its condition" };

/** Who signs. @type {Sentences} */
export const signers = { tester: "Tester", wearer: "Wearer" };

/** What a signature says, beside the pad. @type {Sentences} */
export const signing = {
  tester: "I did this test, and the record above is how it went.",
  wearer: "I am the person who was tested, and I was told how it came out.",
};

/** What a part of the box was at the opening. @type {Sentences} */
export const pieces = { loaded: "there", absent: "not there", failed: "failed" };

/** How far the wall time of a record can be trusted. @type {Sentences} */
export const qualities = {
  unset: "the clock was not set", restored: "the clock went on from the last switch-off, and nobody confirmed it",
  confirmed: "a person had confirmed the clock", network: "the clock came from a time server",
};

/** What a proof shows, and what it does not. */
export const evidence = {
  shows: [
    "This box signed outcome, facepiece, dates and a fingerprint of the person.",
    "The record's last entry stood in the box's journal when its head was signed. A byte changed since is found.",
    "Anybody can check it without a network: with a copy of this program, the text below, and the box's public key.",
  ],
  not: [
    "Who holds the card: compare the name with the person.",
    "Corrections or a recall that came later: ask the box.",
    "That the facepiece fits today. The due date is the latest day, not a promise.",
    "That the wearer could really taste, or that nobody pressed another's button.",
  ],
};

/** Rule sets: their own limits in months, as the published texts have them. 0: the rule names none. @type {Record<string, {name: string, retest: number, keep: number, retestWords: string, keepWords: string}>} */
export const limits = {
  "us-osha": {
    name: "US rule", retest: 12, keep: 0,
    retestWords: "29 CFR 1910.134(f)(2): at least once a year.",
    keepWords: "29 CFR 1910.134(m)(2): each record until the next test of the person. No number of months.",
  },
  "uk-hse": {
    name: "UK guidance", retest: 0, keep: 60,
    retestWords: "INDG479 names no interval: the employer sets one.",
    keepWords: "Five years, from memory and not yet checked against the text.",
  },
};

/** What a backup is and is not. */
export const backups = {
  is: [
    "Everything on this box: people, facepieces, kit, every record, and the rules of the house.",
    "Locked with your passphrase. Without it nobody opens the file, you included; it cannot be reset.",
    "Restored and compared at once. What was not proven does not count as a backup.",
  ],
  not: [
    "The box's signing key is not in it. A restored box signs with a key of its own.",
    "People erased after a backup are in it still. Erase them again after a restore, and throw old backups away.",
  ],
};

/** What this program holds of others. @type {[string, string][]} */
export const licences = [
  ["tallyhood", "Apache License 2.0"],
  ["lit-html, in every page", "BSD 3-Clause"],
  ["Go modules linked into the program", "BSD, MIT, ISC and Apache; each whole in the file licences beside the program"],
];

/** What the figures are, said before them. */
export const figures = "Of this site's own tests, practice left out. No name stands here, and none can be read from a chart. A figure with *too few* behind it is said to be one.";

/** Before letters are turned into names. */
export const letters = [
  "A tester with a high share of not valid runs may have the harder people, the older kit, or the honesty to stop. The figures do not know.",
  "Use the names to offer help, never to rank or to punish: a tester who fears figures lets a doubtful run pass.",
];
