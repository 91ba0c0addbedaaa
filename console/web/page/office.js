// SPDX-License-Identifier: Apache-2.0

// What every page of the job around the runs has in common: who does it, what
// is under way, what was refused, what is about to be noted and can still be
// taken back, and what was changed and can be put back. It must not know what a
// page shows.

import { api } from "./api.js";
import { readBox } from "./contract.js";
import { t } from "./lang.js";
import { getJSON } from "./screen.js";
import { day, inWords } from "./state-office.js";

/**
 * @typedef {object} Office
 * @property {string} by          who does what is done here
 * @property {boolean} byMissing  something was asked for without it
 * @property {string} problem     in words
 * @property {string} said        what was done, in words
 * @property {{text: string, take: string, word?: string}|null} undo  a change that can be put back; take names it, or word says the whole
 * @property {{text: string, take: string, left: number}|null} pending  about to be noted, in so many seconds
 * @property {string} busy        what has been under way for over a second
 * @property {string} done        how much of it, in words
 * @property {number} [seconds]   how long it has been under way, once that is some time
 * @property {boolean} working    something is under way
 * @property {string} practice    why nothing here is a test record; empty on a real box
 */

const pendingMs = 8000;
const slowMs = 1000;
const keyBy = "tallyhood.by";

/** @param {() => void} draw */
export function office(draw) {
  const box = api((url, init) => fetch(url, init), (done, of) => {
    o.done = of > 0 ? t("office.done_of", { done, of }) : "";
    draw();
  });
  /** @type {Office} */
  const o = { by: localStorage.getItem(keyBy) ?? "", byMissing: false, problem: "", said: "", undo: null, pending: null, busy: "", done: "", working: false, practice: "" };
  getJSON("/api/box").then(
    (value) => {
      o.practice = readBox(value).practice;
      draw();
    },
    () => {}, // what cannot be read is said by whatever the page asks for
  );
  /** @type {(() => Promise<unknown>)|null} */
  let back = null;
  /** @type {{what: string, work: () => Promise<unknown>, after: () => unknown, at: number}|null} */
  let waiting = null;

  function clear() {
    Object.assign(o, { problem: "", said: "", undo: null });
    back = null;
  }

  /** Says so when nobody is named; nothing is done without a name. */
  function named() {
    if (o.by.trim() !== "") return true;
    o.byMissing = true;
    draw();
    document.getElementById("by")?.focus();
    return false;
  }

  /**
   * Runs something that takes time; whether it was done.
   * @param {string} what in words, for when it takes long
   * @param {() => Promise<unknown>} work
   */
  async function run(what, work) {
    o.working = true;
    const slow = setTimeout(() => {
      o.busy = what;
      draw();
    }, slowMs);
    const began = performance.now();
    const beat = setInterval(() => {
      o.seconds = Math.floor((performance.now() - began) / 1000);
      draw();
    }, 1000);
    draw();
    try {
      await work();
      return true;
    } catch (err) {
      o.problem = inWords(err);
      return false;
    } finally {
      clearTimeout(slow);
      clearInterval(beat);
      o.working = false;
      o.busy = "";
      o.done = "";
      o.seconds = 0;
      draw();
    }
  }

  async function settle() {
    const w = waiting;
    if (!w) return;
    waiting = null;
    o.pending = null;
    if (await run(w.what, w.work)) {
      o.said = w.what;
      await w.after();
    }
    draw();
  }

  setInterval(() => {
    if (!waiting) return;
    const left = Math.ceil((waiting.at - performance.now()) / 1000);
    if (left <= 0) void settle();
    else if (o.pending && o.pending.left !== left) {
      o.pending.left = left;
      draw();
    }
  }, 200);
  // What was tapped and not taken back has happened: leaving the page notes it.
  addEventListener("pagehide", () => void settle());

  return {
    o,
    box,
    run,
    named,
    clear,
    settle,
    today: () => day(box.now()),
    /** After another thing to do has come up: its top, also for whoever hears the page. */
    top() {
      scrollTo(0, 0);
      document.querySelector("h1")?.focus({ preventScroll: true });
    },
    /** @param {string} name */
    setBy(name) {
      o.by = name;
      if (name.trim() !== "") o.byMissing = false;
      localStorage.setItem(keyBy, name.trim());
      draw();
    },
    takeBack() {
      if (o.pending) o.said = t("office.taken_back", { what: o.pending.take });
      waiting = null;
      o.pending = null;
      draw();
    },
    async undo() {
      const work = back;
      const { take: what = "", word = "" } = o.undo ?? {};
      if (!work) return;
      clear();
      if (await run(word || t("office.putting_back", { what }), work)) o.said = word ? t("office.undone") : t("office.was_put_back", { what });
      draw();
    },
    /**
     * Does a change in somebody's name; whether it was done.
     * @param {string} what what is under way
     * @param {() => Promise<unknown>} work
     * @param {string} said what was done
     * @param {{take?: string, word?: string, work: () => Promise<unknown>}} [undo]
     */
    async change(what, work, said, undo) {
      if (!named()) return false;
      await settle();
      clear();
      const ok = await run(what, work);
      if (ok) {
        o.said = said;
        if (undo) {
          o.undo = { text: said, take: undo.take ?? "", word: undo.word ?? "" };
          back = undo.work;
        }
      }
      draw();
      return ok;
    },
    /**
     * Notes something in a moment, unless it is taken back before.
     * @param {string} what what is noted, in words
     * @param {string} take its short name
     * @param {() => Promise<unknown>} work
     * @param {() => unknown} [after]
     */
    async soon(what, take, work, after = () => {}) {
      if (!named()) return;
      await settle();
      clear();
      waiting = { what, work, after, at: performance.now() + pendingMs };
      o.pending = { text: what, take, left: pendingMs / 1000 };
      draw();
    },
  };
}

/** @typedef {ReturnType<typeof office>} Desk */
