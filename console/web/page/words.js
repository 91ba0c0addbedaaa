// SPDX-License-Identifier: Apache-2.0

// Every sentence that a page shows, by key. Stars mark the words that matter
// most. Nothing here decides what is shown: state.js does.

/** @typedef {Record<string, string>} Sentences */

/** Whys of the procedure, and of replies to commands. @type {Sentences} */
export const whys = {
  no_squeeze_yet: "A taste was reported before any squeeze. It was noted, and changes nothing.",
  not_in_this_stage: "That means nothing at this point. It changed nothing.",
  noted_only: "The report was noted. At this point it changes nothing.",
  too_short_to_be_sure: "A contact closed too briefly to be sure. It was not counted.",
  thirty_given: "All the squeezes of the sensitivity test are given. No more count.",
  report_or_thirty: "Go on comes after the taste report, or after the last of thirty squeezes.",
  button_is_down: "The wearer's button is pressed. It must be let go first.",
  button_is_faulty: "The wearer's button is faulty: its cable is open or shorted. Mend it first.",
  pedal_is_held: "The squeeze contact has been closed for over two seconds. Let it go first.",
  button_and_pedal_move_together: "Button and squeeze contact moved together: they may be crossed. Press each one alone.",
  questions_open: "A question is still open, or was answered no.",
  abstinence_not_over: "Not long enough with nothing but water. Wait, or say since when.",
  not_worn_long_enough: "The facepiece has not been worn long enough yet.",
  button_not_proven: "The wearer spoke instead of pressing. Ask for one press of the button, to show that it works.",
  outside_its_window: "A count can be corrected only while its dose is open.",
  nothing_to_take_back: "There is no squeeze to take back.",
  reason_missing: "A correction needs a reason.",
  journal_failed: "Facts cannot be saved. No run can start until they can.",
  only_after_a_pass: "The proof with the seal broken comes only after a pass.",
  nebuliser_not_named: "Read out the mark on the nebuliser first.",
  nebuliser_of_other_role: "This nebuliser is for the other part of the test. Weak for the sensitivity test, strong for the fit test.",
  nebuliser_of_other_agent: "This nebuliser holds the other agent.",
  nebuliser_not_filled: "This nebuliser has not been filled.",
  solution_expired: "The solution in this nebuliser is past its date.",
  nebuliser_stale: "This nebuliser was filled four hours ago or more. Rinse and fill it.",
  mist_not_checked: "Nobody has seen this nebuliser mist since it was filled. Do the mist check.",
  not_known: "The box does not know this person or this facepiece. Someone may have taken it off the list.",
  nebuliser_not_known: "No nebuliser has this mark.",
  stale: "This page was behind. Look again, then press again.",
  not_driver: "Another page drives. Take over first.",
  unknown: "The box did not understand that.",
  run_open: "A run is open already.",
  no_run: "No run is open.",
  not_allowed: "That is not allowed here.",
  clock_unset: "The box's clock is not set. Confirm the date first: a record needs one.",
  clock_served: "A time server sets the clock. It needs no confirmation.",
  clock_wrong: "That cannot be the time: it lies before this program was made, or too far ahead.",
  input_missing: "A contact that a run needs is missing. The page Inputs says which.",
  busy: "A check is going on. End it first.",
  no_pedal: "There is no pedal that could be learned. Plug one in.",
  no_sound: "No sound comes out, so this cannot be tried.",
  facepiece_not_allowed: "The rules that were chosen do not allow this test for this facepiece.",
  not_saved: "The run is not saved yet. Wait a moment, then press again.",
  no_answer: "The box did not answer. Look whether it happened before you press again.",
};

/** Why a run ended as it did. @type {Sentences} */
export const reasons = {
  tasted: "The wearer tasted it during the test. The facepiece does not fit.",
  tasted_before_clock: "The wearer tasted it during the initial dose. The facepiece does not fit.",
  top_up_short: "A top-up was not given in full in its time.",
  interrupted: "The run was ended before it was complete.",
  cable_open: "The cable of the wearer's button came out, or a contact broke.",
  cable_short: "The wearer's button is shorted.",
  power_lost: "Power was lost during the run.",
  hood_off: "The hood came off during the test.",
  facepiece_touched: "The facepiece was touched or adjusted after the start.",
  journal_failed: "Facts could not be saved.",
  stopped_for_welfare: "Stopped for the person.",
  mist_check_failed: "Mist did not come, or could not be shown to have come.",
  no_taste_by_30: "Nothing was tasted in thirty squeezes. This person cannot be tested with this agent.",
  doubtful_report: "The button closed too briefly to be sure. A doubt is never a pass.",
  button_unproven: "The wearer's button was not pressed once more, so it was not shown to work.",
  input_gap: "Some changes of the contacts may have been missed.",
  stalled: "The box stood still for more than a second.",
};

/** @type {Sentences} */
export const outcomes = { pass: "Pass", fail: "Fail", not_valid: "Not valid", cannot_taste: "Cannot taste" };

/** What an outcome means and what comes first. @type {Sentences} */
export const verdicts = {
  pass: "*Passed.* Nothing was tasted and every dose was given. Hood off first, facepiece last.",
  fail: "*Failed.* Stop squeezing. Hood off first, facepiece last.",
  not_valid: "*Not valid:* neither a pass nor a fail. It cannot be continued. Hood off first, facepiece last.",
  cannot_taste: "*Cannot be tested* with this agent. Hood off.",
};

/** What may follow a verdict. @type {Sentences} */
export const nexts = {
  other_facepiece: "Next: another facepiece, and the whole procedure again, sensitivity test included.",
  refit: "Next: clear the taste, sensitivity test again, put the facepiece on afresh, and repeat.",
  other_size_or_model: "Next: another size or model, and the whole procedure again.",
  other_agent: "Next: the other agent, or a quantitative method.",
  again: "Next: a new run, from the beginning.",
  proof: "Next, if you wish: the proof. The seal is broken under the hood and the wearer takes one breath.",
  nothing: "",
};

/** The proof after a pass. @type {Sentences} */
export const proofs = {
  tasted: "Proof: with the seal broken the wearer tasted it. The mist was there.",
  not_tasted: "Proof: with the seal broken the wearer tasted nothing. The pass is in doubt and does not stand.",
};

/** @type {Sentences} */
export const stages = {
  ready: "Before the test",
  screening: "Sensitivity test",
  clearing: "Clear the taste",
  donning: "Put on and wear",
  dosing: "Initial dose",
  running: "Fit test",
  proving_button: "Press once more",
  over: "Over",
  proving_mist: "Proof of the mist",
};

/**
 * Exercises: name, a short one for the strip, what the wearer is doing, the
 * wearer's own word and hint, and what the tester watches for.
 * @type {Record<string, {name: string, short: string, doing: string, title: string, hint: string, care: string}>}
 */
export const exercises = {
  normal_breathing: {
    name: "Normal breathing", short: "normal", doing: "breathes normally", title: "Breathe normally",
    hint: "Stand still. No talking. Mouth a little open.", care: "Standing, no talking.",
  },
  deep_breathing: {
    name: "Deep breathing", short: "deep", doing: "breathes slowly and deeply", title: "Breathe slowly and deeply",
    hint: "Follow the circle. Feeling dizzy? Stop and say so.", care: "Slow and deep, never fast. Dizzy: stop.",
  },
  head_side_to_side: {
    name: "Head side to side", short: "side to side", doing: "turns the head from side to side", title: "Turn your head, side to side",
    hint: "Slowly. Breathe in at each end. Do not knock the facepiece.", care: "Slow, a breath in at each end, no knock on the shoulder.",
  },
  head_up_and_down: {
    name: "Head up and down", short: "up and down", doing: "looks up and down", title: "Look up, look down",
    hint: "Slowly. Breathe in when you look up.", care: "Slow, a breath in when looking up.",
  },
  talking: {
    name: "Talking", short: "talking", doing: "talks aloud", title: "Talk aloud",
    hint: "Read the text, or count back from one hundred.", care: "Aloud and steadily, without a pause.",
  },
  bending_over: {
    name: "Bending over", short: "bending", doing: "bends over and comes up", title: "Bend over, come up",
    hint: "From the waist, as if to touch your toes. Dizzy? Stop and say so.", care: "From the waist. Dizzy: stop.",
  },
  normal_breathing_again: {
    name: "Normal breathing again", short: "normal", doing: "breathes normally", title: "Breathe normally",
    hint: "The last minute. Stand still. No talking.", care: "Standing, no talking. The last minute.",
  },
};

/** Questions before the test, as a tester asks them: yes lets the run go on. @type {Sentences} */
export const questions = {
  nothing_but_water: "Nothing but plain water: no food, drink, smoke, vape or gum",
  no_hair_at_seal: "No hair of any kind where the facepiece seals",
  cleared: "Cleared to wear it, where the law or the employer asks",
  no_known_reaction: "No known reaction to this agent; no worry to take to a clinician first",
  facepiece_as_at_work: "The same make, model and size as at work, sound and clean",
  weak_nebuliser: "The nebuliser marked weak is filled and gives mist",
};

/** @type {Sentences} */
/** Roles of a nebuliser. @type {Record<string, string>} */
export const roles = { weak: "weak nebuliser (sensitivity test)", strong: "strong nebuliser (fit test)" };

export const agents = { sweet: "sweet", bitter: "bitter" };

/** @type {Sentences} */
export const remarks = { late: "late", hurried: "hurried", extra: "extra squeezes" };

/** Faults of inputs and waits. @type {Sentences} */
export const faults = {
  cable_open: "button cable open",
  cable_short: "button shorted",
  pedal_held: "squeeze contact held over two seconds",
  chatters: "a contact chatters more than it may",
  input_gap: "changes of a contact may be missing",
  stalled: "the box stood still",
  journal_failed: "facts could not be saved",
  wear_short: "worn less long than asked",
  abstinence_short: "with nothing but water less long than asked",
  doubtful_report: "a report too brief to be sure",
  button_unproven: "the button was not shown to work",
  questions_open: "a question was left open",
  clock_stepped: "the clock of the box was set or jumped; durations do not depend on it",
};

/** Reasons that a tester gives for a corrected count, by direction. */
export const corrections = {
  add: ["Squeezed, but not counted", "Squeezed by hand beside the contact"],
  take: ["Counted twice", "Bumped, not squeezed", "No mist came out"],
};

/** What a single-contact button lacks, and other lines of the head. */
export const health = {
  inputsSound: "inputs sound",
  unsupervised: "button unsupervised",
  soundOn: "sound on",
  saved: "saved",
  unsaved: "not saved yet",
  notSaving: "NOT SAVING",
  noSound: "no sound",
};

/** Fallback where a rule set says nothing. */
export const prevails = "Local law and a competent person prevail over this tool.";

/** What the wearer sees outside the exercises. @type {Record<string, {title: string, hint: string, press: string}>} */
export const wearer = {
  none: { title: "Please wait", hint: "The tester will call you.", press: "" },
  ready: { title: "Before we start", hint: "The tester asks you a few questions. Anything but water lately? Say so.", press: "" },
  screening: {
    title: "Mouth open, tongue a little out", hint: "Breathe through your mouth, slowly and lightly.",
    press: "Press the button as soon as you taste it.",
  },
  clearing: { title: "Rinse your mouth", hint: "Hood off. Drink water, wipe your lips. Say when the taste has gone.", press: "" },
  donning: { title: "Put on your facepiece", hint: "By yourself, as at work. Check the seal, then keep it on.", press: "" },
  dosing: {
    title: "Breathe normally", hint: "Stand still. Mouth a little open. Do not touch the facepiece.",
    press: "Press the button the moment you taste anything, even a little.",
  },
  running: { title: "", hint: "", press: "Press the button the moment you taste anything, even a little." },
  proving_button: { title: "Press the button once, now", hint: "Leave the hood and the facepiece on.", press: "Have you tasted anything? Say so." },
  over: { title: "The test is over", hint: "Leave the hood on until the tester says so.", press: "" },
  proving_mist: { title: "Lift the facepiece a little", hint: "Under the hood. Take one breath through the mouth.", press: "Say whether you taste anything." },
  lost: { title: "Listen to the tester", hint: "This screen has lost the box.", press: "Press the button the moment you taste anything, even a little." },
};

const small = ["none", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten"];

/** A count as a word up to ten. @param {number} n */
export const count = (n) => small[n] ?? String(n);

/** Sentences for the tester that stand on figures, by key. */
export const say = {
  none: () => "Choose who, what and how; then open the run.",
  clockUnset: () => "The box's clock is *not set*. Confirm the date, then open the run.",
  missing: () => "A contact is *missing*. No run can be opened until it is back.",
  loading: () => "Looking for the box.",
  blocked: (/** @type {string} */ why) => lookUp(whys, why),
  ready: () => "All is ready. Hood on, *no facepiece*, mouth open. Then go on to the sensitivity test.",
  screeningFirst: () => "*Weak* nebuliser. Hood on, no facepiece, mouth open, tongue slightly out. Squeeze flat, let the bulb fill.",
  screening: () => "*Weak* nebuliser. Squeeze on, evenly, until the wearer reports a taste.",
  screeningFull: () => "All squeezes are given. *Wait* for a report. Without one this person cannot be tested with this agent.",
  clearing: () => "Taste reported. Hood off, rinse, wipe the lips. Go on when the wearer says the taste has *gone*.",
  donning: () => "The wearer puts on the facepiece *unhelped*, checks the seal, and wears it, with all that is worn at work.",
  donned: () => "Hood on over the facepiece. Take the *strong* nebuliser and check its mist. Then go on.",
  dosing: (/** @type {number} */ left) => `*Strong* nebuliser. Squeeze *${count(left)} more*, firmly. The clock starts with the last one.`,
  due: (/** @type {number} */ left, /** @type {string} */ ex) => `Squeeze *${count(left)} more*, firmly, and let the bulb fill. The wearer ${exercise(ex).doing}.`,
  soon: (/** @type {number} */ n, /** @type {string} */ at) => `Get ready: *${count(n)} squeezes* at ${at}.`,
  waiting: (/** @type {number} */ n, /** @type {string} */ at, /** @type {string} */ ex) =>
    `Nothing is due until ${at}, then *${count(n)}*. The wearer ${exercise(ex).doing}.`,
  last: (/** @type {string} */ ex) => `Every dose is given. The wearer ${exercise(ex).doing} to the end.`,
  provingButton: () => "Exercises done. Hood stays on. Ask the wearer to press the button *once*, to show that it works.",
  ending: () => "The run has ended. The verdict stands once it is *saved*.",
  provingMist: () => "The wearer breaks the seal *under the hood* and takes one breath. What did the wearer taste?",
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

/** @param {string} id */
export function exercise(id) {
  const plain = id.replaceAll("_", " ");
  return (Object.hasOwn(exercises, id) ? exercises[id] : undefined) ?? { name: plain, short: plain, doing: plain, title: plain, hint: "", care: "" };
}

/** A fault as stored, "what: detail". @param {string} text */
export function fault(text) {
  const [what = "", ...detail] = text.split(": ");
  return lookUp(faults, what) + (detail.length ? ` (${detail.join(": ")})` : "");
}
