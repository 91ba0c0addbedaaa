// SPDX-License-Identifier: Apache-2.0

// The box's HTTP API of the job around the runs: one function for each thing
// that is asked or done. What does not fit is an error that names the field. It
// must not know a page, and never sends anything twice by itself.

/** @typedef {{on: string, who: string}} Clearance */
/** @typedef {{trigger: string, on: string}} Happened */
/** @typedef {{facepiece: string, run: string, on: string, rules: string, trusted: boolean}} Tested */
/** @typedef {{person: string, facepiece: string, on: string, why: string, name?: string, label?: string}} Due */
/** @typedef {{name: string, number: string, job: string, languages: string[], facepieces: string[], rules: string, agent: string, note: string}} PersonForm */
/** @typedef {PersonForm & {id: string, cleared: Clearance|null, triggered: Happened|null, left: string, tested: Tested[], due: Due[], fails: Record<string, number>}} Person */
/** @typedef {{run: string, person: string, facepiece: string, make: string, model: string, size: string, rules: string, agent: string, tester: string, at: string, outcome: string, reason: string, recalled: string, practice: boolean}} Run */
/** @typedef {{make: string, model: string, style: string, size: string, type: string, fit_factor: number, pieces: string[], stock: number, gone: boolean}} FacepieceForm */
/** @typedef {FacepieceForm & {id: string, cleaned: Record<string, string>, refused: Record<string, string>}} Facepiece refused: why, by rule set */
/** @typedef {{mark: string, across_mm: number, tall_mm: number, gone: boolean}} HoodForm */
/** @typedef {HoodForm & {id: string, oversized?: boolean}} Hood */
/** @typedef {{mark: string, role: string, agent: string, gone: boolean}} NebuliserForm */
/** @typedef {NebuliserForm & {id: string, solution: string, filled: string, squeezes: number, checked: string, good: boolean, good_at: string, stale_in_s: number|null}} Nebuliser stale_in_s: null when it is not filled, or nobody knows how long ago */
/** @typedef {{agent: string, strength: string, lot: string, made: string, expires: string, recipe: string, source: string, who: string, gone: boolean}} SolutionForm */
/** @typedef {SolutionForm & {id: string, expired: boolean}} Solution */
/** @typedef {{hoods: Hood[], nebulisers: Nebuliser[], solutions: Solution[]}} Kit */
/** @typedef {{id: string, agent: string, strength: string, name: string, parts: {what: string, amount: number, unit: string, powder: boolean}[], volume_ml: number, text: string, source: string, mark: string}} Recipe */
/** @typedef {{nebuliser: string, since: string, runs: Run[], people: string[]}} Sweep */
/** @typedef {{token: string, columns: string[], rows: string[][], count: number, encoding: string, delimiter: string, sheets: string[], sheet: string, guess: Record<string, number>}} Preview count: rows in all; guess: column, from 0, by field */
/** @typedef {{token: string, encoding: string, delimiter: string, sheet: string, mapping: Record<string, number>, dry_run: boolean, by: string}} Order mapping: column, from 0, by field */
/** @typedef {{new: number, changed: number, same: number, refused: {row: number, why: string}[]}} Imported */
/** @typedef {{step: string, seconds: number, source: string, mark: string}} Step */
/** @typedef {{person: string, name: string, number: string, listed: boolean, place: number, due: Due[], state: string, stage: string, run: string, outcome: string, slot_at: string, stop_eating: string}} Expected listed: put on the list, not only due; place: among those of the day, 0: behind them; state: waiting, in_test, again or done; slot_at and stop_eating: instants, empty when nobody knows */
/** @typedef {{what: string, id: string, name: string}} Chore */
/** @typedef {{day: string, expected: Expected[], waiting: number, more: boolean, next_free: string, end_of_day: Chore[]}} Day */
/** @typedef {{median: number, low: number, high: number}} Spread low and high: 5 of 100 simulated days lie below, and above */
/** @typedef {{per_day: Spread, finish_s: Spread, steps: Step[], past: number, said: string[]}} Plan */
/** @typedef {{job: string, kind: string, state: string, done: number, of: number, why: string, detail: string, result: unknown}} Job */

export const base = "/api/v1";

/** An answer that is no success. Why is the key of what was refused; empty when there is none. */
export class ApiError extends Error {
  /** @param {number} status 0: no answer came @param {string} why @param {string} text */
  constructor(status, why, text) {
    super(text);
    this.status = status;
    this.why = why;
  }
}

/** @param {unknown} value @returns {Record<string, unknown>} */
function object(value, what = "the answer") {
  if (value === null || typeof value !== "object" || Array.isArray(value)) throw new ApiError(200, "", `${what} is not what this page knows`);
  return /** @type {Record<string, unknown>} */ (value);
}

/**
 * A list in an answer; null is an empty one.
 * @param {unknown} value @param {string} field
 * @returns {any[]}
 */
function list(value, field) {
  const v = object(value)[field] ?? [];
  if (!Array.isArray(v)) throw new ApiError(200, "", `${field} is no list`);
  return v;
}

/** @param {unknown} v */
const text = (v) => (typeof v === "string" ? v : "");
/** @param {unknown} v */
const number = (v) => (typeof v === "number" ? v : 0);

/** @param {any} v @returns {Person} */
export function readPerson(v) {
  const p = object(v, "a person");
  if (text(p.id) === "") throw new ApiError(200, "", "a person has no id");
  return /** @type {any} */ ({ ...empty.person, ...p, languages: p.languages ?? [], facepieces: p.facepieces ?? [], tested: p.tested ?? [], due: p.due ?? [], fails: p.fails ?? {}, cleared: p.cleared ?? null, triggered: p.triggered ?? null });
}

/** Forms with nothing in them. */
export const empty = {
  /** @type {PersonForm} */
  person: { name: "", number: "", job: "", languages: [], facepieces: [], rules: "", agent: "", note: "" },
  /** @type {FacepieceForm} */
  facepiece: { make: "", model: "", style: "", size: "", type: "half_mask", fit_factor: 0, pieces: [], stock: 0, gone: false },
  /** @type {HoodForm} */
  hood: { mark: "", across_mm: 0, tall_mm: 0, gone: false },
  /** @type {NebuliserForm} */
  nebuliser: { mark: "", role: "weak", agent: "bitter", gone: false },
  /** @type {SolutionForm} */
  solution: { agent: "bitter", strength: "weak", lot: "", made: "", expires: "", recipe: "", source: "", who: "", gone: false },
};

/**
 * The part of a view that a form holds: what a change sends back.
 * @template {object} F
 * @param {F} form
 * @param {Record<string, any>} view
 * @returns {F}
 */
export function formOf(form, view) {
  return /** @type {F} */ (Object.fromEntries(Object.keys(form).map((k) => [k, view[k]])));
}

/** @param {any} v @returns {Facepiece} */
function readFacepiece(v) {
  const f = object(v, "a facepiece");
  return /** @type {any} */ ({ ...empty.facepiece, ...f, pieces: f.pieces ?? [], cleaned: f.cleaned ?? {}, refused: f.refused ?? {} });
}

/** @param {any} v @returns {Kit} */
function readKit(v) {
  return {
    hoods: list(v, "hoods"), solutions: list(v, "solutions").map((s) => ({ ...s, expired: s.expired === true })),
    nebulisers: list(v, "nebulisers").map((n) => ({ ...n, stale_in_s: n.filled ? (n.stale_in_s ?? null) : null })),
  };
}

/** @param {any} v @returns {Day} */
function readDay(v) {
  return {
    day: text(object(v).day), waiting: number(v.waiting), more: v.more === true, next_free: text(v.next_free), end_of_day: list(v, "end_of_day"),
    expected: list(v, "expected").map((e) => ({ ...e, listed: e.listed === true, place: number(e.place), due: e.due ?? [] })),
  };
}

/** @param {any} v @returns {Plan} */
function readPlan(v) {
  const spread = (/** @type {unknown} */ s) => {
    const o = object(s);
    return { median: number(o.median), low: number(o.low), high: number(o.high) };
  };
  return { per_day: spread(object(v).per_day), finish_s: spread(v.finish_s), steps: list(v, "steps"), past: number(v.past), said: list(v, "said").map(String) };
}

/** @param {any} v @returns {Preview} */
function readPreview(v) {
  const p = object(v);
  const sheets = list(v, "sheets").map(String);
  return {
    token: text(p.token), columns: list(v, "columns").map(String), rows: list(v, "rows"), count: number(p.count), encoding: text(p.encoding), delimiter: text(p.delimiter), sheets,
    sheet: sheets[0] ?? "", guess: /** @type {any} */ (p.guess ?? {}),
  };
}

/** @typedef {(url: string, init: RequestInit) => Promise<Response>} Send */

const askAgainMs = 500;

/**
 * The API through a way of sending requests.
 * @param {Send} send
 * @param {(done: number, of: number) => void} [progress] of longer work; of: 0 while that is not known
 */
export function api(send, progress = () => {}) {
  let ahead = 0; // of the box's clock before this screen's, ms

  /** @param {string} method @param {string} path @param {unknown} [body] @param {AbortSignal} [signal] */
  async function ask(method, path, body, signal) {
    /** @type {Record<string, string>} */
    const headers = { Accept: "application/json" };
    const raw = body instanceof Blob;
    if (body !== undefined) headers["Content-Type"] = raw ? "application/octet-stream" : "application/json";
    /** @type {Response} */
    let answer;
    try {
      answer = await send(base + path, { method, headers, signal: signal ?? null, keepalive: method === "POST" && !raw, ...(body === undefined ? {} : { body: raw ? body : JSON.stringify(body) }) });
    } catch (err) {
      if (err instanceof Error && err.name === "AbortError") throw err;
      throw new ApiError(0, "no_answer", "the box did not answer");
    }
    const date = Date.parse(answer.headers.get("Date") ?? "");
    if (!Number.isNaN(date)) ahead = date - Date.now();
    const value = await answer.json().catch(() => null);
    if (!answer.ok) {
      const problem = value !== null && typeof value === "object" ? value : {};
      const details = Array.isArray(problem.errors) ? problem.errors.map((/** @type {any} */ e) => [e?.location, e?.message].filter(Boolean).join(": ")).filter(Boolean) : [];
      throw new ApiError(answer.status, text(problem.why), [text(problem.detail), ...details].filter(Boolean).join("; ") || `${answer.status} ${answer.statusText}`);
    }
    return answer.status === 202 ? ended(/** @type {Job} */ (object(value))) : value;
  }

  /** Asks for longer work until it ends. @param {Job} job @returns {Promise<unknown>} */
  async function ended(job) {
    let j = job;
    while (j.state === "running") {
      progress(j.done, j.of);
      await new Promise((go) => setTimeout(go, askAgainMs));
      j = /** @type {Job} */ (object(await ask("GET", `/jobs/${encodeURIComponent(j.job)}`)));
    }
    if (j.state === "failed") throw new ApiError(409, j.why, j.detail);
    return j.result;
  }
  const part = encodeURIComponent;
  const query = (/** @type {Record<string, string|number>} */ q) => {
    const given = Object.entries(q).filter(([, v]) => v !== "");
    return given.length ? `?${new URLSearchParams(given.map(([k, v]) => [k, String(v)]))}` : "";
  };

  return {
    /** The box's time as its last answer bore it, ms since 1970. */
    now: () => Date.now() + ahead,

    /** @param {string} find @param {string} after @param {number} limit @param {AbortSignal} [signal] @param {""|"facepiece"} [without] */
    async people(find, after, limit, signal, without = "") {
      const v = await ask("GET", `/people${query({ find, after, limit, ...(without ? { without } : {}) })}`, undefined, signal);
      return { people: list(v, "people").map(readPerson), next: text(object(v).next) };
    },
    /** @param {string} id */
    async person(id) {
      const v = object(await ask("GET", `/people/${part(id)}`));
      return { person: readPerson(v.person), runs: /** @type {Run[]} */ (list(v, "runs")) };
    },
    /** @param {PersonForm} form @param {string} by @returns {Promise<string>} */
    addPerson: async (form, by) => text(object(await ask("POST", "/people", { form, by })).id),
    /** @param {string} id @param {PersonForm} form @param {string} by */
    savePerson: (id, form, by) => ask("PUT", `/people/${part(id)}`, { form, by }),
    /** @param {string} id @param {Clearance} c @param {string} by */
    clear: (id, c, by) => ask("POST", `/people/${part(id)}/clearance`, { ...c, by }),
    /** @param {string} id @param {string} trigger @param {string} on @param {string} by */
    trigger: (id, trigger, on, by) => ask("POST", `/people/${part(id)}/trigger`, { trigger, on, by }),
    /** @param {string} id @param {string} on @param {string} by */
    left: (id, on, by) => ask("POST", `/people/${part(id)}/left`, { on, by }),
    /** @param {string} id @param {string} by */
    back: (id, by) => ask("POST", `/people/${part(id)}/back`, { by }),
    /** Puts somebody on a day's list, or takes them off. @param {string} id @param {string} day @param {number} place 0: behind the others @param {boolean} off @param {string} by */
    listed: (id, day, place, off, by) => ask("POST", `/people/${part(id)}/listed`, { day, place, off, by }),
    /** @param {string} id @param {string} reason @param {string} by */
    erase: (id, reason, by) => ask("POST", `/people/${part(id)}/erase`, { reason, by }),
    /** @param {Blob & {name?: string}} file @param {Record<string, string>} how encoding, delimiter and sheet; empty: as the box finds */
    async preview(file, how) {
      const p = readPreview(await ask("POST", `/people/import/preview${query({ name: file.name ?? "list", ...how })}`, new Blob([file])));
      return how.sheet ? { ...p, sheet: how.sheet } : p;
    },
    /** @param {Order} order @returns {Promise<Imported>} */
    async import(order) {
      const v = object(await ask("POST", "/people/import", order));
      return { new: number(v.new), changed: number(v.changed), same: number(v.same), refused: list(v, "refused") };
    },
    /** @param {string} by a day @param {number} limit @returns {Promise<Due[]>} */
    due: async (by, limit) => list(await ask("GET", `/due${query({ by, limit })}`), "due"),

    facepieces: async () => list(await ask("GET", "/facepieces"), "facepieces").map(readFacepiece),
    /** @param {string} id @param {FacepieceForm} form @param {string} by */
    saveFacepiece: (id, form, by) => ask("PUT", `/facepieces/${part(id)}`, { form, by }),
    /** @param {string} id @param {string} piece @param {string} by */
    cleaned: (id, piece, by) => ask("POST", `/facepieces/${part(id)}/cleaned`, { piece, by }),

    kit: async () => readKit(await ask("GET", "/kit")),
    /** @param {"hoods"|"nebulisers"|"solutions"} what @param {string} id @param {object} form @param {string} by */
    saveKit: (what, id, form, by) => ask("PUT", `/${what}/${part(id)}`, { form, by }),
    /** @param {string} id @param {string} solution @param {string} by */
    filled: (id, solution, by) => ask("POST", `/nebulisers/${part(id)}/filled`, { solution, by }),
    /** @param {string} id @returns {Promise<Sweep>} */
    async sweep(id) {
      const v = object(await ask("GET", `/nebulisers/${part(id)}/sweep`));
      return { nebuliser: text(v.nebuliser), since: text(v.since), runs: list(v, "runs"), people: list(v, "people") };
    },
    /** What a change of a batch would recall. @param {string} id @param {SolutionForm} form as it would be @returns {Promise<Sweep>} */
    async sweepBatch(id, { agent, strength, expires }) {
      const v = object(await ask("GET", `/solutions/${part(id)}/sweep${query({ agent, strength, expires })}`));
      return { nebuliser: "", since: "", runs: list(v, "runs"), people: list(v, "people") };
    },
    /** @param {string} id @param {SolutionForm} form @param {string[]} shown runs that were shown as those to be recalled @param {string} by */
    changeBatch: (id, form, shown, by) => ask("PUT", `/solutions/${part(id)}`, { form, shown, by }),
    /** @param {string} id @param {boolean} good @param {string[]} shown runs that were shown as those to be recalled @param {string} by */
    mist: (id, good, shown, by) => ask("POST", `/nebulisers/${part(id)}/mist`, { good, shown, by }),
    /** @returns {Promise<Recipe[]>} */
    recipes: async () => list(await ask("GET", "/recipes"), "recipes"),

    /** @param {string} [on] a day; left out: today */
    day: async (on = "") => readDay(await ask("GET", `/day${query({ on })}`)),
    /** @param {number} people @param {number} hoods */
    plan: async (people, hoods) => readPlan(await ask("GET", `/plan${query({ people, hoods })}`)),
  };
}

/** @typedef {ReturnType<typeof api>} Api */
