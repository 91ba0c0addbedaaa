// SPDX-License-Identifier: Apache-2.0

// What each picture shows, in one line, for pictures.mjs: every state of every
// reference page under its own name. A state without a line here, or a line
// without its state, stops the drawing.

/** @typedef {{title: string, from: string, folder?: string, told: Record<string, string>}} Part */

/** @type {Part[]} */
export const parts = [
  { title: "Bench: before a run", from: "states", told: {
    "bench-no-run": "Nothing is open. The facepiece is not allowed by the rules that were chosen, so the run cannot be opened, and the page says why.",
    "bench-no-run-clock-unset": "The box's clock is not set: no run before a person has confirmed the date.",
    "bench-no-run-missing": "A contact that a run needs is missing.",
    "bench-no-run-watching": "Another page drives; this one watches and may take over.",
    "bench-nobody": "The box knows nobody yet and leads to First run.",
    "bench-hood": "A hood is named.", "bench-hood-large": "The hood is larger than the published one: it is said, not refused.",
    "bench-uncleared": "Nobody has noted that the person is cleared: it is said before the run is opened, and bars nothing.",
    "bench-lists": "The lists of people and facepieces are being read.",
    "bench-loading": "No word from the box yet.",
    "bench-parked": "Two runs wait; one of them is ready to be taken up.",
  } },
  { title: "Bench: a run, step by step", from: "states", told: {
    "bench-ready-open": "Questions before the test: one answered no, two not asked, and the nebuliser to be named.",
    "bench-ready": "All questions answered; the name and the code of the Wearer's page on the right.",
    "bench-ready-uncleared": "The same is said in the question about it, which the tester answers.",
    "bench-paired": "The Wearer's page is paired and the wearer has said yes to the name.",
    "bench-wrong-person": "The wearer says that the name is another's: nobody goes on.",
    "bench-screening-first": "Sensitivity test, before the first squeeze.",
    "bench-screening": "Seventeen squeezes, and one that is doubtful.",
    "bench-screening-full": "All thirty are given; the last seconds in which a report counts.",
    "bench-clearing": "The bin is found; the taste clears, then the facepiece is put on.",
    "bench-donning": "The facepiece is worn for its five minutes.",
    "bench-donning-practice": "The same on a simulated board, with three others that wait.",
    "bench-donning-unproven": "The wearer spoke instead of pressing: one press of the button is asked for.",
    "bench-donned": "Worn long enough.",
    "bench-slow": "The box has not answered for over a second.",
    "bench-dosing": "Initial dose: six of ten squeezes left.",
    "bench-waiting": "Between two top-ups, in deep breathing, with its caution.",
    "bench-soon": "A top-up falls due in three seconds.",
    "bench-due": "Three squeezes due before their time runs out.",
    "bench-due-thirty": "The same with fifteen to a top-up.",
    "bench-due-practice": "A simulated board: hatched edge, the word Practice, and contacts to press.",
    "bench-last": "Every dose is given; the last exercise goes on to the end.",
    "bench-count": "A count is put right, with its reason.", "bench-count-half": "Half of a dose was added by hand: no more is offered, and it is said why.",
    "bench-keys": "The keys.",
    "bench-refused": "An order that the box refused, with why.",
    "bench-unsaved": "No sound, and facts that are not saved yet: both are said above.",
    "bench-watching": "A watching tester keeps the stop.",
    "bench-stale": "No word from the box: grey, with the age of what is shown.",
    "bench-asleep": "Back after a loss: the first touch only wakes the page.",
    "bench-parked-open": "Three others wait while one puts on the facepiece.",
    "bench-parked-clearing": "One waits and is ready; it can be taken up from here.",
    "bench-parked-running": "Who waits is told in one line while the clock runs.",
    "bench-drill": "A drill: what the simulated wearer says.",
    "bench-drill-running": "A drill: the simulated wearer touches the facepiece. What now?",
    "bench-proving": "After the last exercise the button is pressed once, to show that it works.",
    "bench-ending": "The verdict waits until it is saved.",
    "bench-pass": "Pass, and the proof with the seal broken is offered.",
    "bench-proving-mist": "The proof: the seal is broken under the hood.",
    "bench-pass-proved": "Pass, and the mist was shown to be there.",
    "bench-fail": "Fail: it was tasted.",
    "bench-not-valid": "Not valid: a top-up was short.", "bench-not-noted": "Nothing can be saved, nor that the run is not valid: a person has to write it down.",
    "bench-cannot-taste": "Cannot taste: thirty squeezes and no report.",
    "bench-clearing-doubtful": "What made the bin: doubtful squeezes count for it, and are named.",
    "bench-water": "What was chosen stays marked, and the answer of no is named.",
    "bench-open-missing": "What is still to choose is said where the run is opened.",
    "bench-donning-watching": "Watching while the facepiece is worn.",
    "bench-pass-watching": "A pass, seen by a page that watches.", "bench-fail-watching": "A fail, seen by a page that watches.",
    "bench-not-valid-watching": "Not valid, seen by a page that watches.", "bench-cannot-taste-watching": "Cannot taste, seen by a page that watches.",
    "bench-pass-asleep": "A pass after a loss: the first touch only wakes the page.",
  } },
  { title: "Bench: from across the room", from: "states", told: {
    "bench-far-ready": "Before the test.", "bench-far-wrong-person": "The wrong person, said large.", "bench-far-screening": "Sensitivity test.", "bench-far-donning": "The wait with the facepiece on.",
    "bench-far-dosing": "Initial dose.", "bench-far-due": "Squeezes due, and the exercise.", "bench-far-waiting": "Time to the next squeezes.", "bench-far-due-thirty": "Squeezes due, fifteen to a top-up.",
    "bench-far-due-practice": "Practice says so here too.", "bench-far-proving": "The button is to be pressed once.", "bench-far-ending": "Being saved.", "bench-far-pass": "Pass.", "bench-far-fail": "Fail, and why.",
    "bench-far-not-valid": "Not valid, and why.", "bench-far-stale": "No word from the box.",
  } },
  { title: "Wearer", from: "states-live", told: {
    "wearer-pair": "The page is paired with a run by four digits.", "wearer-pair-typing": "Two are typed.", "wearer-pair-wrong": "They were wrong.", "wearer-pair-later": "Wrong too often: each further try has to wait.", "wearer-pair-ended": "That run is closed.",
    "wearer-name": "Is this the right person?", "wearer-name-unsent": "The answer did not arrive.", "wearer-tell": "The name was another's.", "wearer-no-run": "Nothing to do yet.", "wearer-ready": "The questions come.", "wearer-screening": "Sensitivity test.",
    "wearer-clearing": "The taste clears.", "wearer-donning": "The facepiece is worn; a ring of dashes is the time.", "wearer-dosing": "The initial dose.",
    "wearer-exercise-1": "Normal breathing.", "wearer-exercise-2": "Deep breathing: in, with the circle.", "wearer-breathing-out": "Deep breathing: out.", "wearer-exercise-3": "Head side to side.", "wearer-exercise-4": "Head up and down.",
    "wearer-exercise-5": "Talking: a text to read, its line marked at speaking pace.", "wearer-talking-other": "Another run has another text.", "wearer-exercise-6": "Bending over.", "wearer-exercise-7": "The last minute.",
    "wearer-due-practice": "Practice.", "wearer-proving": "One press of the button.", "wearer-pass": "Over, whatever the outcome: the wearer hears it from the tester.", "wearer-proving-mist": "The seal is broken once, under the hood.", "wearer-lost": "No word from the box.",
  } },
  { title: "Gallery", from: "states-live", told: {
    "gallery-no-run": "Nothing is open.", "gallery-due": "A run as a trainer sees it, with remarks as it happens and no names.", "gallery-due-practice": "Practice.", "gallery-not-valid": "Not valid: squeezes too quick for the bulb.", "gallery-pass": "Pass.",
    "gallery-parked": "Two runs wait.", "gallery-many": "Five benches: one live, one in practice, one ended, one lost, one that refuses.", "gallery-stale": "No word from the box.", "gallery-loading": "No word yet.",
  } },
  { title: "Gallery: one board for a classroom", from: "states-live", told: {
    "gallery-present-no-run": "No run.", "gallery-present-ready": "Why the questions.", "gallery-present-screening": "Why the sensitivity test.", "gallery-present-clearing": "Why to rinse, and what is put on then.", "gallery-present-donning": "Why to wait.", "gallery-present-dosing": "The initial dose.",
    "gallery-present-due": "Why more squeezes now.", "gallery-present-due-thirty": "The same with a larger bin.", "gallery-present-waiting": "What comes next, and why.", "gallery-present-talking": "The next exercise, and why.", "gallery-present-last": "Why to go on to the end.",
    "gallery-present-proving": "Why one press more.", "gallery-present-pass": "Pass.", "gallery-present-fail": "Fail.", "gallery-present-not-valid": "Not valid.", "gallery-present-cannot-taste": "Cannot taste.", "gallery-present-due-practice": "Practice.", "gallery-present-dead": "A board without word for over a minute.",
  } },
  { title: "Review", from: "states-review", told: {
    "review-ready": "Before the test, as it was shown then.", "review-screening": "Sensitivity test.", "review-clearing": "The taste clears.", "review-donning": "The facepiece is worn.", "review-dosing": "Initial dose.", "review-due": "Squeezes due.", "review-waiting": "Between top-ups.",
    "review-pass": "The end of a pass.", "review-recalled": "The end of a pass that was recalled later.", "review-fail": "The end of a fail.", "review-not-valid": "The end of a run whose cable came out.", "review-practice": "Practice.", "review-two": "Two runs side by side from the start of the clock.", "review-two-ended": "Both have ended.", "review-two-early": "One had ended long before, without a fit test, and says so.", "review-two-later": "One is not opened yet, and says when it is.",
    "review-keys": "The keys.", "review-file": "As one file without names, opened from a disk.", "review-loading": "Being read.", "review-problem": "No such run.",
  } },
  { title: "Drill", from: "states-drill", folder: "drill-", told: {
    list: "A new drill, and the scores so far.", empty: "No drill has been held.", own: "The troubles are chosen.", unnamed: "Nobody is named yet.", "run-open": "A run is open: a drill waits.", driven: "Another page drives.", loading: "Being read.", failed: "The box did not answer.",
    full: "Full marks.", tasted: "A leak that was found, with what was lost on the way and the trainer's own word.", "false-pass": "A pass by mistake costs most.", "given-up": "Given up: no score.", open: "Not ended yet.", "sheet-loading": "A sheet is being read.",
  } },
  { title: "Day", from: "states-office", told: { day: "Who is where, who comes when, how many fit, and what is left for the evening.", "day-quiet": "A quiet day.", "day-put-on": "Somebody is put on the list.", "day-put-nobody": "Nobody of that name.", "day-taken-off": "Taken off the list, and what would put it back." } },
  { title: "People", from: "states-office", told: {
    "people-due": "Who is due next.", "people-found": "Found while typing.", "people-none": "Nobody of that name.", "people-empty": "Nobody is entered.", "people-nobody-due": "Nobody is due.", "people-without": "Who has no facepiece yet, and so no due date.", "people-loading": "Being read.", "people-slow": "A slow search.", "people-failed": "The box did not answer.",
    person: "One person: facepieces, what has changed, clearance, tests.", "person-due": "Due now.", "person-bare": "No facepiece is named for the job.", "person-left": "Somebody who has left.", "person-pending": "A touch that can be taken back for some seconds.", "person-saved": "Saved, and what would put it back.",
    "person-listed": "Put on the list of the day.", "person-unnamed": "Nobody said who does it.", "person-edit": "An entry is changed.", "person-new": "Somebody is entered.", "person-clear": "A clearance is noted.", "person-erase": "What erasing takes, and what stays.", "person-erase-ready": "The name is typed: now it can be done.", "person-gone": "Erased.",
    "import-choose": "A list from a spreadsheet: the file.", "import-preview": "Its first rows; which column is what.", "import-unmapped": "The column of names is not said yet.", "import-trial": "What would come of it.", "import-done": "Taken in.",
  } },
  { title: "Facepieces", from: "states-office", told: { facepieces: "Each model, what the rules allow for it, and its pieces.", "facepieces-empty": "None is entered.", "facepieces-edit": "One is changed.", "facepieces-new": "One is entered.", "facepieces-pending": "A cleaning that can be taken back for some seconds." } },
  { title: "Kit", from: "states-office", told: {
    kit: "Nebulisers and their four hours, batches, hoods.", "kit-calm": "Everything is fresh.", "kit-stale": "One is too old.", "kit-empty": "Nothing is entered.", "kit-fill": "A filling: the wrong bottles are refused.", "kit-fill-none": "No bottle fits.", "kit-seen": "The mist check after a filling.",
    "kit-bad": "No mist: which tests that takes with it, before it is noted.", "kit-bad-none": "No mist, and no test is touched.", "kit-recalled": "Who is to be called back.", "kit-another": "A batch turns out to be another: which tests that takes with it, before it is noted.", "kit-hood": "A hood and its measures.", "kit-nebuliser": "A nebuliser is entered.", "kit-batch": "A batch, after a published recipe.", "kit-refused": "A mark that is taken.",
  } },
  { title: "Records", from: "states-desk", told: {
    records: "All runs, newest first.", "records-recalled": "Those that were recalled.", "records-none": "None like that.", "records-empty": "None yet.", "records-found": "A wearer is sought.", "records-nobody": "Nobody of that name.", "records-person": "One wearer's.", "records-plain": "A box without search and files.", "records-loading": "Being read.", "records-slow": "A file is being written.", "records-failed": "The box did not answer.", "records-goes-on": "The list goes on to older ones.",
    record: "One record, all of it.", "record-practice": "A record of practice says so, and has no card.", "record-fail": "A fail.", "record-recalled": "A pass that was recalled: both words stand.", "record-amended": "A label was corrected; what it was stays.", "record-sign": "A signature is drawn.", "record-sign-typed": "A signature is typed.", "record-amend": "A label is corrected.",
    "record-changed": "It changed before it was signed, so nothing was.", "record-proof": "What the code on a card proves.", "record-no-date": "A clock that could not be trusted gives no card.", "record-beside": "Another run of the same person to lay beside it.", "record-alone": "No other run to lay beside it.", "record-plain": "A record without its office.", "record-open": "The run is still open.", "record-loading": "Being read.", "record-missing": "No such run.", "record-unnamed": "Nobody said who does it.",
  } },
  { title: "Insight", from: "states-desk", told: {
    insight: "The site's own tests: spread and doubt are drawn with every figure.", "insight-own": "From day to day.", "insight-none": "No test in that time.", "insight-warned": "A warning before names are shown.", "insight-names": "With the testers' names.", "insight-refused": "A drawing that is not one is not shown; its table is.", "insight-loading": "Being counted.", "insight-slow": "Still counting.",
  } },
  { title: "Settings", from: "states-desk", told: {
    settings: "Rules of the house, backup, key, who may be erased.", "settings-us": "The US rule.", "settings-first": "An empty box may take a backup in.", "settings-restored": "A backup is in.", "settings-brought": "The journal comes from backups: when, by whom, and up to where.", "settings-looser": "The house may not ask for less than the rules.", "settings-kept": "Kept.", "settings-mismatch": "Two passphrases that differ.", "settings-folder": "A backup in a folder, proven.",
    "settings-backing": "A backup is being written and proven.", "settings-no-backup": "No backup has been made.", "settings-backups-unread": "The list of backups could not be read.", "settings-may-go": "People past their time.", "settings-nothing-goes": "The house keeps records for good.", "settings-loading": "Being read.", "settings-no-key": "A box without a key.",
  } },
  { title: "Inputs", from: "states", told: {
    "inputs-good": "All is well: contacts, check, sound, clock, supply.", "inputs-unchecked": "Not checked yet.", "inputs-cable-open": "The cable of the wearer's button is out.", "inputs-unplugged": "A pedal is unplugged.", "inputs-check-rest": "The check of the wires: hands off.", "inputs-check-asking": "It asks for one contact at a time.", "inputs-check-finding": "It finds two wires crossed.",
    "inputs-check-failed": "What it found, and what to do.", "inputs-check-stopped": "It was ended early.", "inputs-latency": "How long from a tone to a press.", "inputs-latency-late": "Too long.", "inputs-latency-none": "Too few presses for a figure.", "inputs-learn": "A pedal's key is learned.", "inputs-learned": "It is learned.", "inputs-bulb-new": "A bulb sensor that has not learned its bulb.", "inputs-bulb-known": "It has, and when.", "inputs-bulb-rest": "The bulb is learned: hands off first.", "inputs-bulb-squeeze": "Then ten flat squeezes.", "inputs-bulb-done": "It is learned.", "inputs-bulb-less": "It is learned as giving much less air than before.",
    "inputs-bulb-unkept": "It is learned and could not be kept.", "inputs-bulb-refused": "The squeezes disagree, and the former calibration stays.", "inputs-bulb-left": "Nobody watched, so nothing was learned.", "inputs-clock-unset": "The clock is not set.",
    "inputs-clock-edited": "The clock is put right.", "inputs-run-open": "A run is open: nothing here may disturb it.", "inputs-single": "A button without supervision.", "inputs-watching": "Another page drives.", "inputs-low-volts": "The supply is low.", "inputs-silent": "No sound.", "inputs-no-box": "The state of the box could not be read.", "inputs-refused": "An order that was refused.", "inputs-stale": "No word from the box.", "inputs-loading": "No word yet.",
  } },
  { title: "First run", from: "states", told: {
    "start-empty": "A new box: seven steps to the first test.", "start-check": "The wires are being checked.", "start-unplugged": "A contact is missing.", "start-sound": "Was the tone heard?", "start-clock": "Is the clock right?", "start-people": "The first people.", "start-facepieces": "The first facepieces.", "start-kit": "The kit.", "start-drill": "A first drill.", "start-ready": "All is done.",
    "start-run-open": "A run is open.", "start-stale": "No word from the box.", "start-unknown": "A list could not be read.", "start-loading": "No word yet.",
  } },
  { title: "Help", from: "states", told: { help: "Help for every page.", "help-panel-bench": "The help of the Bench, beside it.", "help-panel-people": "The help of People.", "help-panel-other": "A page without help of its own." } },
];

/** States that are about something at the lower end of a long page. */
export const lower = ["record-amend", "record-sign", "record-sign-typed", "record-proof", "insight-warned"];

/** The states that are also drawn in the dark or on a small screen: file, state, size, light or dark. */
export const more = /** @type {const} */ ([
  ["bench-due", "desk", "dark"], ["bench-fail", "desk", "dark"], ["wearer-exercise-2", "desk", "dark"], ["gallery-parked", "desk", "dark"], ["record", "desk", "dark"],
  ["bench-parked", "low", "light"], ["bench-screening", "low", "light"], ["bench-due", "low", "light"], ["bench-not-valid", "low", "light"], ["bench-far-due", "low", "light"], ["wearer-pair", "low", "light"], ["wearer-exercise-2", "low", "light"], ["wearer-exercise-5", "low", "light"], ["gallery-due", "low", "light"],
  ["bench-parked", "phone", "light"], ["bench-screening", "phone", "light"], ["bench-due", "phone", "light"], ["bench-not-valid", "phone", "light"], ["bench-far-due", "phone", "light"], ["wearer-pair", "phone", "light"], ["wearer-exercise-2", "phone", "light"], ["wearer-exercise-5", "phone", "light"], ["gallery-due", "phone", "light"], ["review-due", "phone", "light"],
]);

/** The pictures of README.md: file, state, size, light or dark. */
export const readme = /** @type {const} */ ([
  ["bench", "bench-due", "desk", "light"], ["bench-dark", "bench-due", "desk", "dark"], ["bench-parked", "bench-parked-running", "desk", "light"], ["distance", "bench-far-due", "desk", "light"], ["wearer", "wearer-exercise-2", "desk", "light"], ["gallery", "gallery-parked", "desk", "light"],
  ["review-two", "review-two", "desk", "light"], ["drill", "drill-tasted", "desk", "light"], ["record", "record", "desk", "light"], ["people", "people-found", "desk", "light"], ["kit", "kit", "desk", "light"], ["inputs", "inputs-check-failed", "desk", "light"],
]);
