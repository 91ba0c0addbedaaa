// SPDX-License-Identifier: Apache-2.0

// The box's HTTP API of records, figures and the house: one function for each
// thing that is asked or done, with what an answer has to hold. It must not know
// a page, and never sends anything twice by itself.

import { ApiError, base } from "./api.js";
import { spoken } from "./lang.js";
import { detailShown } from "./state-office.js";
import { refusals } from "./words-desk.js";

/** @typedef {import("./state-record.js").Row} Row */
/** @typedef {{rules: string, retest_months: number, keep_months: number, site: string, hoods: number}} Policy */
/** @typedef {{run: string, text: string, head: string, proof: string[]}} Claim */
/** @typedef {{size: number, root: string, wall: string, quality: string, note: string, key: string}} Head */
/** @typedef {{months: number, count: number, runs: Row[], people: {person: string, name: string, number: string, left: string, lastRun: string}[], more: boolean}} Retention months: of the house; 0: each rule set's own. Runs: the oldest of count */
/** @typedef {{file: string, bytes: number, proven: boolean}} BackedUp */
/** @typedef {{where: string, file: string, bytes: number, made: string, quality: string, proven: string, entries: number, hash: string, here: boolean}} Generation a backup; where: a folder of the box, empty when it was downloaded; here: the file lies there now */
/** @typedef {{from?: string, to?: string, person?: string, facepiece?: string, tester?: string, outcome?: string, only?: string}} Filter which runs; what is empty asks for all */
/** @typedef {{entries: number, runs: number, erased: number, recalled: number, later: string, restart: boolean}} Restored erased: who had been erased after the backup and is erased again; recalled: runs that are not valid again; later: taken_over, or unknown */
/** @typedef {{at: string, quality: string, box: string, made: string, entries: number, by: string, later: string}} BroughtIn a restore as it stands in the journal; entries: of the backup; later: whether what undid passes after it is known: taken_over, unknown, empty when nobody noted it */
/** @typedef {{name: string, unit: string}} Column */
/** @typedef {{text: string, number: boolean}} Cell */
/** @typedef {{id: string, title: string, say: string, svg: string, columns: Column[], rows: Cell[][], notes: string[]}} Chart */
/** @typedef {{tests: number, pass: number, fail: number, not_valid: number, cannot_taste: number}} Counts */
/** @typedef {{counts: Counts, undated: number, leftOut: number, charts: Chart[]}} Figures */
/** @typedef {{letter: string, name: string}} Letter */
/** @typedef {(done: number, of: number) => void} Progress */
/** @typedef {(url: string, init: RequestInit) => Promise<Response>} Send */

/** How often a job is asked how far it is. */
const jobMs = 500;

/** @param {unknown} v @returns {Record<string, any>} */
const object = (v) => {
  if (v === null || typeof v !== "object" || Array.isArray(v)) throw new ApiError(200, "", "the answer is not what this page knows");
  return v;
};
/** @param {unknown} v */
const text = (v) => (typeof v === "string" ? v : "");
/** @param {unknown} v */
const number = (v) => (typeof v === "number" ? v : 0);
/** @param {unknown} v @returns {any[]} */
const list = (v) => (Array.isArray(v) ? v : []);

/** @param {any} v @returns {Row} */
export function readRow(v) {
  const r = object(v);
  if (text(r.run) === "") throw new ApiError(200, "", "a run has no id");
  return /** @type {Row} */ ({
    ...r, run: text(r.run), name: text(r.name), person: text(r.person), at: text(r.at), quality: text(r.quality), outcome: text(r.outcome), first: text(r.first) || text(r.outcome), reason: text(r.reason),
    recalled: text(r.recalled), practice: r.practice === true, facepiece: [[r.make, r.model].filter(Boolean).join(" "), r.size].filter(Boolean).join(", "), nebulisers: list(r.nebulisers), signed: list(r.signed), amended: list(r.amended),
  });
}

/** @param {any} v @returns {Policy} */
export function readPolicy(v) {
  const p = object(v);
  return { rules: text(p.rules), retest_months: number(p.retest_months), keep_months: number(p.keep_months), site: text(p.site), hoods: number(p.hoods) };
}

/** @param {any} v @returns {Figures} */
export function readFigures(v) {
  const f = object(v);
  const c = object(f.counts ?? {});
  return {
    counts: { tests: number(c.tests), pass: number(c.pass), fail: number(c.fail), not_valid: number(c.not_valid), cannot_taste: number(c.cannot_taste) },
    undated: number(f.undated), leftOut: number(f.left_out),
    charts: list(f.charts).map((c, i) => {
      const table = object(c.table ?? {});
      return {
        id: text(c.id) || `chart-${i}`, title: text(c.title), say: text(c.say), svg: text(c.svg), notes: list(c.notes).map(String),
        columns: list(table.columns).map((k) => ({ name: text(k.name), unit: text(k.unit) })),
        rows: list(table.rows).map((r) => list(r).map((cell) => ({ text: text(cell.text), number: cell.number === true }))),
      };
    }),
  };
}

/**
 * The API through a way of sending requests.
 * @param {Send} send
 * @param {(ms: number) => Promise<unknown>} wait
 */
export function desk(send, wait = (ms) => new Promise((done) => setTimeout(done, ms))) {
  /** @param {string} method @param {string} path @param {unknown} body @returns {Promise<Response>} */
  async function ask(method, path, body) {
    /** @type {RequestInit} */
    const init = { method, headers: { Accept: "application/json" } };
    if (body instanceof FormData) init.body = body; // the browser writes its boundary
    else if (body !== undefined) Object.assign(init, { body: JSON.stringify(body), headers: { ...init.headers, "Content-Type": "application/json" } });
    /** @type {Response} */
    let answer;
    try {
      answer = await send(base + path, init);
    } catch {
      throw new ApiError(0, "no_answer", "the box did not answer");
    }
    if (answer.ok) return answer;
    const p = await answer.json().catch(() => ({}));
    const details = list(p?.errors).map((e) => [e?.location, e?.message].filter(Boolean).join(": "));
    throw new ApiError(answer.status, text(p?.why), [text(p?.detail), ...details].filter(Boolean).join("; ") || `${answer.status} ${answer.statusText}`);
  }

  /** @param {Response} answer */
  async function value(answer) {
    try {
      return await answer.json();
    } catch {
      throw new ApiError(answer.status, "", "the answer broke off, or is not what this page knows");
    }
  }

  /** Asks, and where the answer is a job, waits for its end. @param {string} method @param {string} path @param {unknown} body @param {Progress} progress */
  async function job(method, path, body, progress) {
    const answer = await ask(method, path, body);
    let j = await value(answer);
    if (answer.status !== 202) return j;
    while (j.state === "running") {
      progress(number(j.done), number(j.of));
      await wait(jobMs);
      j = object(await value(await ask("GET", `/jobs/${encodeURIComponent(text(j.job))}`, undefined)));
    }
    if (j.state !== "done") throw new ApiError(409, text(j.why), text(j.detail));
    return j.result;
  }
  const get = async (/** @type {string} */ path) => object(await value(await ask("GET", path, undefined)));
  const of = (/** @type {string} */ run) => `/runs/${encodeURIComponent(run)}`;

  return {
    /** A part may hold fewer than the limit, or none, and be followed by others. @param {Filter} filter @param {string} before next of the part before @param {number} limit @returns {Promise<{runs: Row[], next: string}>} */
    async runs(filter, before, limit) {
      const given = Object.entries({ ...filter, before, limit: String(limit) }).filter(([, v]) => v !== "");
      const v = await get(`/runs?${new URLSearchParams(given)}`);
      return { runs: list(v.runs).map(readRow), next: text(v.next) };
    },
    /** @param {string} run */
    async run(run) {
      const v = await get(of(run));
      return { run: v.run ? { ...readRow(v.run), counts: text(v.counts), companyNumber: text(v.company_number) } : null, view: v.view };
    },
    /** @param {string} run @param {string} who @param {string} record hash as it was shown @param {string} strokes base64 @param {"drawn"|"typed"} how @param {string} by */
    sign: async (run, who, record, strokes, how, by) => void (await ask("POST", `${of(run)}/sign`, { who, how, strokes, record, by })),
    /** @param {string} run @param {string} field @param {string} to @param {string} reason @param {string} by */
    amend: async (run, field, to, reason, by) => void (await ask("POST", `${of(run)}/amend`, { field, to, reason, by })),
    /** @param {string} run @returns {Promise<Claim>} */
    async claim(run) {
      const c = await get(`/evidence/${encodeURIComponent(run)}`);
      return { run: text(c.run), text: text(c.text), head: text(c.head), proof: list(c.proof).map(String) };
    },
    /** @returns {Promise<Head>} */
    async head() {
      const h = await get("/evidence/head");
      return { size: number(h.size), root: text(h.root), wall: text(h.wall), quality: text(h.quality), note: text(h.note), key: text(h.key) };
    },
    /** @param {string} from @param {string} to days, both counted; empty: no bound */
    async figures(from, to) {
      const given = Object.entries({ from, to, lang: spoken() }).filter(([, v]) => v !== "");
      return readFigures(await get(`/insight${given.length ? `?${new URLSearchParams(given)}` : ""}`));
    },
    /** Who stands behind the letters of those days' charts. @param {string} from @param {string} to @returns {Promise<Letter[]>} */
    async letters(from, to) {
      const given = Object.entries({ from, to }).filter(([, v]) => v !== "");
      return list((await get(`/insight/testers${given.length ? `?${new URLSearchParams(given)}` : ""}`)).testers).map((t) => ({ letter: text(t.letter), name: text(t.name) }));
    },
    policy: async () => readPolicy(await get("/policy")),
    /** @param {Policy} policy @param {string} by @param {Progress} progress */
    setPolicy: (policy, by, progress) => job("PUT", "/policy", { policy, by }, progress),
    /** @returns {Promise<Retention>} */
    async retention() {
      const v = await get("/retention");
      return {
        months: number(v.months), count: number(v.count), runs: list(v.runs).map(readRow), more: v.more === true,
        people: list(v.people).map((p) => ({ person: text(p.person), name: text(p.name), number: text(p.number), left: text(p.left), lastRun: text(p.last_run) })),
      };
    },
    /** @param {string[]} shown people who were shown @param {string} by @param {Progress} progress */
    drop: (shown, by, progress) => job("POST", "/retention", { shown, by }, progress),
    /** @returns {Promise<{generations: Generation[], restores: BroughtIn[]}>} */
    async backups() {
      const v = await get("/backup");
      return {
        generations: list(v.generations).map((g) => ({
          where: text(g.where), file: text(g.file), bytes: number(g.bytes), made: text(g.made), quality: text(g.quality), proven: text(g.proven), entries: number(g.entries), hash: text(g.hash), here: g.here === true,
        })),
        restores: list(v.restores).map((r) => ({ at: text(r.at), quality: text(r.quality), box: text(r.box), made: text(r.made), entries: number(r.entries), by: text(r.by), later: text(r.later) })),
      };
    },
    /** @param {string} folder @param {string} passphrase @param {Progress} progress @returns {Promise<BackedUp>} */
    async backupTo(folder, passphrase, progress) {
      const v = object(await job("POST", "/backup/folder", { folder, passphrase }, progress));
      return { file: text(v.file), bytes: number(v.bytes), proven: v.proven === true };
    },
    /** @param {string} passphrase @param {string} by @param {Blob} file @returns {Promise<Restored>} */
    async restore(passphrase, by, file) {
      const form = new FormData();
      form.append("passphrase", passphrase); // the box reads the parts in this order
      form.append("by", by);
      form.append("file", file);
      const v = object(await value(await ask("POST", "/restore", form)));
      return { entries: number(v.entries), runs: number(v.runs), erased: number(v.erased), recalled: number(v.recalled), later: text(v.later), restart: v.restart === true };
    },
    /**
     * A file of the box, whole. One that breaks off is an error, never half of it.
     * @param {string} path @param {object|null} [body] asked with it, by POST
     * @param {Progress} [progress] in bytes; of: 0 while that is not known
     * @returns {Promise<{name: string, blob: Blob}>}
     */
    async file(path, body, progress = () => {}) {
      const answer = await ask(body ? "POST" : "GET", path, body ?? undefined);
      try {
        return { name: nameIn(answer.headers.get("Content-Disposition") ?? "") || path.split("/").at(-1) || "file", blob: await whole(answer, progress) };
      } catch {
        throw new ApiError(409, "", "the file broke off on the way and was not kept");
      }
    },
  };
}

/**
 * Does something, and says a refusal in the words of these pages.
 * @template T
 * @param {() => Promise<T>} work
 * @param {Record<string, string>} [over] words that hold here alone, by why
 * @returns {Promise<T>}
 */
export async function told(work, over = {}) {
  try {
    return await work();
  } catch (err) {
    if (!(err instanceof ApiError) || err.status === 0) throw err;
    const known = Object.hasOwn(over, err.why) ? over[err.why] : Object.hasOwn(refusals, err.why) ? refusals[err.why] : undefined;
    if (known === undefined) throw err;
    throw Object.assign(new ApiError(409, "", known.endsWith(":") ? `${known} ${detailShown(err.message)}` : known), { cause: err });
  }
}

/** What an answer holds, counted while it comes. @param {Response} answer @param {Progress} progress */
async function whole(answer, progress) {
  if (answer.body === null) return answer.blob();
  const of = Number(answer.headers.get("Content-Length")) || 0;
  /** @type {BlobPart[]} */
  const parts = [];
  let done = 0;
  const reader = answer.body.getReader();
  for (let part = await reader.read(); !part.done; part = await reader.read()) {
    parts.push(part.value);
    done += part.value.length;
    progress(done, of);
  }
  return new Blob(parts, { type: answer.headers.get("Content-Type") ?? "" });
}

/** The name that an answer gives its file (RFC 6266). @param {string} header */
export function nameIn(header) {
  const wide = /filename\*=UTF-8''([^;]+)/i.exec(header)?.[1];
  if (wide) {
    try {
      return decodeURIComponent(wide);
    } catch {
      // The plain name follows.
    }
  }
  return /filename="([^"]*)"/i.exec(header)?.[1] ?? "";
}

/** @typedef {ReturnType<typeof desk>} DeskApi */
