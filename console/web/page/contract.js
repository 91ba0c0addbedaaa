// SPDX-License-Identifier: Apache-2.0

// The messages between a page and the daemon, as package wire holds them, and
// the check of what comes in. A message that does not fit is refused whole:
// half a snapshot must never be shown as if it were one.

/** Version of these messages. */
export const contract = 1;

/** @typedef {"ready"|"screening"|"clearing"|"donning"|"dosing"|"running"|"proving_button"|"over"|"proving_mist"} Stage */
/** @typedef {{type: "welcome", client: string, contract: number, version: string, sim: boolean, paired: string}} Welcome */
/** @typedef {{type: "reply", id: string, ok: boolean, why?: string}} Reply */
/** @typedef {{line: string, source: string, closed: boolean, edges: number, rejected: number, presses: number, doubtful: number, quiet_ms: number}} Line */
/** @typedef {{ask: string, found: string[], lines: string[], passed: boolean, left_ms: number}} Check */
/** @typedef {{asked: number, of: number, done: boolean, why: string, mid_ms: number, least_ms: number, spread_ms: number, when: string}} Timing */
/** @typedef {{stage: ""|"rest"|"squeeze"|"done"|"unkept"|"refused", done: number, of: number, left_ms: number, why: string, known: boolean, when: string, of_before: number}} Bulb */
/** @typedef {{wall: string, quality: string, trusted: boolean, steps: number}} Clock */
/**
 * @typedef {object} Inputs
 * @property {string} board
 * @property {boolean} supervised
 * @property {string} cable
 * @property {boolean} squeeze
 * @property {boolean} step
 * @property {boolean} report
 * @property {number} noise
 * @property {string} [lost]
 * @property {string} [missing]
 * @property {Line[]} lines
 * @property {Check|null} check
 * @property {Timing|null} latency
 * @property {string} learn
 * @property {string} learned
 * @property {Bulb} [bulb]  absent without a bulb sensor
 */
/** @typedef {{id: string, answered: boolean, yes: boolean}} Question */
/** @typedef {{role: string, mark: string, lot: string}} Kit */
/** @typedef {{squeezes: number, counted: number, most: number, bin: number}} Screening */
/** @typedef {{n: number, required: number, given: number, extra: number, doubtful: number, due_ms: number, open_ms: number, shut_ms: number, remarks: string[]}} Dose */
/** @typedef {{what: string, why: string, ago_ms: number}} Note */
/** @typedef {{outcome: string, reason: string, next: string, proof: string}} Verdict */
/** @typedef {{at_ms: number, what: string, text: string}} DrillLine */
/** @typedef {{said: DrillLine[], asks: string}} Drill */
/**
 * @typedef {object} Run
 * @property {string} run
 * @property {Stage} stage
 * @property {number} stage_ms
 * @property {string} wearer
 * @property {string} facepiece
 * @property {string} agent
 * @property {string} rules
 * @property {string} prevails
 * @property {string} tester
 * @property {Question[]} questions
 * @property {Kit|null} kit
 * @property {string} blocked
 * @property {number} wait_ms
 * @property {number} need_ms
 * @property {Screening} screening
 * @property {Dose|null} dose
 * @property {Dose|null} initial
 * @property {Dose[]} top_ups
 * @property {number|null} run_ms
 * @property {boolean} ticking
 * @property {number} length_ms
 * @property {string[]} exercises
 * @property {number} exercise_ms
 * @property {number} exercise
 * @property {number[]} squeezes_ms
 * @property {number} half_life_ms
 * @property {Note[]} notes
 * @property {string[]} faults
 * @property {Verdict|null} verdict
 * @property {boolean} ending
 * @property {string} practice
 * @property {string} code
 * @property {number} paired
 * @property {string} name_said
 * @property {string} wearer_language
 * @property {Drill|null} drill
 * @property {boolean} [uncleared]  no clearance of the person was on record at the opening
 * @property {string} [no_add]       why no squeeze may be added to the open dose by hand
 */
/**
 * @typedef {object} Snapshot
 * @property {"snapshot"} type
 * @property {number} number
 * @property {number} fence
 * @property {string} driver
 * @property {number} watchers
 * @property {string} [practice]
 * @property {number} speed
 * @property {Inputs} inputs
 * @property {string} sound
 * @property {number} volume
 * @property {boolean} muted
 * @property {string} storage
 * @property {Clock} clock
 * @property {number} lag_ms
 * @property {Run|null} run
 * @property {Run[]} parked
 * @property {string} pairing
 */
/** @typedef {Welcome|Snapshot|Reply} Message */
/** @typedef {{type: "board", name: string, state: "live"|"lost"|"refused"|"other", age_ms: number, snapshot: Snapshot|null}} Board */

/** @typedef {{id: string, label: string, refused?: Record<string, string>, facepieces?: string[], uncleared?: boolean}} Choice facepieces: those that a person needs; uncleared: no clearance of that person is on record */
/** @typedef {{id: string, mark: string, across_mm: number, tall_mm: number, oversized: boolean}} Hood 0 mm: not measured */
/** @typedef {{people: Choice[], facepieces: Choice[], rules: Choice[], agents: string[], testers: string[], hoods: Hood[]}} Choices */
/** @typedef {{seed: string, level: string, troubles: string[]}} DrillAsk */
/** @typedef {{wearer: string, facepiece: string, rules: string, agent: string, tester: string, hood?: string, drill?: DrillAsk}} Open hood: empty for none */
/** @typedef {{name: string, state: string, reason: string, lines: string[]}} Part */
/** @typedef {{parts: Part[], time_source: string, volts: string, heat: number|null, heat_high: boolean, store_file: string, store_free: number, store_of: number, write_ms: number|null, practice: string, version: string}} Box */
/** @typedef {{do: string, question?: string, yes?: boolean, for_ns?: number, delta?: number, top_up?: number, reason?: string, by?: string, mark?: string}} Input */
/** @typedef {{line: string, closed: boolean}} Contact */
/** @typedef {{type: "command", id: string, run?: string, fence: number, do: string, input?: Input, open?: Open, sim?: Contact, line?: string, cue?: string, wall?: string, volume?: number, muted?: boolean}} Command */

/**
 * The forms by name, one word a field: a type of JSON or a form, "?" after it
 * for one that may be left out, "|null" for one that may be null, "[]" for a list.
 * @type {Record<string, Record<string, string>>}
 */
export const forms = {
  Welcome: { type: "string", client: "string", contract: "number", version: "string", sim: "boolean", paired: "string" },
  Reply: { type: "string", id: "string", ok: "boolean", why: "string?" },
  Snapshot: {
    type: "string", number: "number", fence: "number", driver: "string", watchers: "number", practice: "string?", speed: "number",
    inputs: "Inputs", sound: "string", volume: "number", muted: "boolean", storage: "string", clock: "Clock", lag_ms: "number", run: "Run|null",
    parked: "Run[]", pairing: "string",
  },
  Inputs: {
    board: "string", supervised: "boolean", cable: "string", squeeze: "boolean", step: "boolean", report: "boolean", noise: "number", lost: "string?",
    missing: "string?", lines: "Line[]", check: "Check|null", latency: "Timing|null", learn: "string", learned: "string",
    bulb: "Bulb?",
  },
  Line: {
    line: "string", source: "string", closed: "boolean", edges: "number", rejected: "number", presses: "number", doubtful: "number", quiet_ms: "number",
  },
  Check: { ask: "string", found: "string[]", lines: "string[]", passed: "boolean", left_ms: "number" },
  Timing: {
    asked: "number", of: "number", done: "boolean", why: "string", mid_ms: "number", least_ms: "number", spread_ms: "number", when: "string",
  },
  Bulb: {
    stage: "string", done: "number", of: "number", left_ms: "number", why: "string", known: "boolean", when: "string", of_before: "number",
  },
  Clock: { wall: "string", quality: "string", trusted: "boolean", steps: "number" },
  Box: {
    parts: "Part[]", time_source: "string", volts: "string", heat: "number|null", heat_high: "boolean", store_file: "string",
    store_free: "number", store_of: "number", write_ms: "number|null", practice: "string", version: "string",
  },
  Part: { name: "string", state: "string", reason: "string", lines: "string[]" },
  Run: {
    run: "string", stage: "string", stage_ms: "number", wearer: "string", facepiece: "string", agent: "string", rules: "string",
    prevails: "string", tester: "string", questions: "Question[]", kit: "Kit|null", blocked: "string", wait_ms: "number", need_ms: "number",
    screening: "Screening", dose: "Dose|null", initial: "Dose|null", top_ups: "Dose[]", run_ms: "number|null", ticking: "boolean",
    length_ms: "number", exercises: "string[]", exercise_ms: "number", exercise: "number", squeezes_ms: "number[]",
    half_life_ms: "number", notes: "Note[]", faults: "string[]", verdict: "Verdict|null", ending: "boolean",
    practice: "string", code: "string", paired: "number", name_said: "string", wearer_language: "string", drill: "Drill|null",
    uncleared: "boolean?", no_add: "string?",
  },
  Drill: { said: "DrillLine[]", asks: "string" },
  DrillLine: { at_ms: "number", what: "string", text: "string" },
  Board: { type: "string", name: "string", state: "string", age_ms: "number", snapshot: "Snapshot|null" },
  Kit: { role: "string", mark: "string", lot: "string" },
  Question: { id: "string", answered: "boolean", yes: "boolean" },
  Screening: { squeezes: "number", counted: "number", most: "number", bin: "number" },
  Dose: {
    n: "number", required: "number", given: "number", extra: "number", doubtful: "number", due_ms: "number", open_ms: "number",
    shut_ms: "number", remarks: "string[]",
  },
  Note: { what: "string", why: "string", ago_ms: "number" },
  Verdict: { outcome: "string", reason: "string", next: "string", proof: "string" },
  Choices: { people: "Choice[]", facepieces: "Choice[]", rules: "Choice[]", agents: "string[]", testers: "string[]", hoods: "Hood[]" },
  Hood: { id: "string", mark: "string", across_mm: "number", tall_mm: "number", oversized: "boolean" },
  Choice: { id: "string", label: "string", refused: "object?", facepieces: "string[]?", uncleared: "boolean?" },
};

/** Message types and their forms. @type {Record<string, string>} */
const messages = { welcome: "Welcome", reply: "Reply", snapshot: "Snapshot", board: "Board" };

/**
 * Reads one text message. Throws an Error that names the field that does not fit.
 * @param {string} text
 * @returns {Message|Board}
 */
export function read(text) {
  /** @type {unknown} */
  const value = JSON.parse(text);
  const type = value !== null && typeof value === "object" && "type" in value ? value.type : undefined;
  const form = typeof type === "string" && Object.hasOwn(messages, type) ? messages[type] : undefined;
  if (!form) throw new Error(`type: ${JSON.stringify(type)} is not a message`);
  check(value, form, form);
  return /** @type {Message|Board} */ (value);
}

/**
 * Checks the answer of /api/choices.
 * @param {unknown} value
 * @returns {Choices}
 */
export function readChoices(value) {
  check(value, "Choices", "Choices");
  return /** @type {Choices} */ (value);
}

/**
 * Checks the answer of /api/box.
 * @param {unknown} value
 * @returns {Box}
 */
export function readBox(value) {
  check(value, "Box", "Box");
  return /** @type {Box} */ (value);
}

/**
 * @param {unknown} value
 * @param {string} want
 * @param {string} where
 */
function check(value, want, where) {
  if (want.endsWith("?")) {
    if (value !== undefined) check(value, want.slice(0, -1), where);
    return;
  }
  if (want.endsWith("|null")) {
    if (value !== null) check(value, want.slice(0, -5), where);
    return;
  }
  if (want.endsWith("[]")) {
    if (!Array.isArray(value)) throw new Error(`${where}: not a list`);
    value.forEach((v, i) => {
      check(v, want.slice(0, -2), `${where}[${i}]`);
    });
    return;
  }
  const form = forms[want];
  const plain = value !== null && typeof value === "object" && !Array.isArray(value);
  if (!form) {
    const ok = want === "object" ? plain : want === "number" ? Number.isFinite(value) : typeof value === want;
    if (!ok) throw new Error(`${where}: not a ${want}`);
    return;
  }
  if (!plain) throw new Error(`${where}: not a ${want}`);
  const fields = /** @type {Record<string, unknown>} */ (value);
  for (const [name, type] of Object.entries(form)) check(fields[name], type, `${where}.${name}`);
}
