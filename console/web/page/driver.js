// SPDX-License-Identifier: Apache-2.0

// What every page that may drive has in common: the socket, the lease, its
// commands, the contacts of a simulated board, and the sleep after a loss. It
// must not know what a page shows.

import { commander } from "./commands.js";
import { openLink } from "./link.js";
import { staleAfterMs } from "./state.js";
import { wallOf } from "./state-inputs.js";
import { lookUp, whys } from "./words.js";

const saidForMs = 6000;

/** @typedef {import("./contract.js").Snapshot} Snapshot */
/**
 * What a driving page remembers besides the snapshot.
 * @typedef {object} Driven
 * @property {boolean} asleep     controls are inert until the first touch
 * @property {boolean} sim        the board is simulated
 * @property {string} said        answer to the last command, in words; empty when it was done
 * @property {string} problem
 * @property {string[]} contacts  simulated contacts that are held
 */

/**
 * @param {Driven} ui
 * @param {object} on
 * @param {() => void} on.draw
 * @param {(next: Snapshot, last: Snapshot|null) => void} [on.snapshot] before it is drawn
 * @param {() => boolean} [on.begun] whether this tab began the drill that is open, a moment ago on another page
 * @param {() => void} [on.release] when whatever is held has to be let go
 */
export function driver(ui, on) {
  /** @type {Snapshot|null} */
  let snap = null;
  let client = "";
  let first = true;
  let saidAt = 0;
  let doneAt = Number.NEGATIVE_INFINITY;

  const link = openLink({
    role: "tester",
    message(m) {
      if (m.type === "welcome") {
        client = m.client;
        ui.sim = m.sim;
      } else if (m.type === "reply") {
        commands.reply(m);
      } else {
        on.snapshot?.(m, snap);
        snap = m;
        // An idle box that nobody drives is this page's on loading; a run that is
        // open is taken over by a person only. Whoever began a drill goes on with it.
        if (client !== "" && m.driver === "" && (m.run === null ? first : m.run.drill !== null && on.begun?.())) commands.do(snap, "take_lease");
        if (client !== "") first = false;
      }
      on.draw();
    },
    problem(text) {
      ui.problem = text;
      on.draw();
    },
    lost() {
      if (snap !== null) ui.asleep = true;
      release();
      on.draw();
    },
  });

  const commands = commander({
    send: (c) => link.send(c),
    id: () => client,
    now: () => performance.now(),
    said(why) {
      say(lookUp(whys, why));
      on.draw();
    },
  });

  /** @param {string} text */
  function say(text) {
    ui.said = text;
    saidAt = performance.now();
  }

  const fresh = () => snap !== null && link.age() <= staleAfterMs;
  const live = () => fresh() && !ui.asleep && snap?.driver === client;

  /** @param {string} line @param {boolean} closed */
  function contact(line, closed) {
    const held = ui.contacts.includes(line);
    if (held === closed || (closed && !live())) return;
    ui.contacts = closed ? [...ui.contacts, line] : ui.contacts.filter((l) => l !== line);
    commands.do(snap, "sim", { sim: { line, closed } });
    on.draw();
  }

  function release() {
    for (const line of [...ui.contacts]) contact(line, false);
    on.release?.();
  }
  addEventListener("blur", release);

  // The first touch after a loss only wakes. Stop is exempt: it is for a person
  // in distress, and what it does is safe.
  let swallow = false;
  /** @param {Event} e */
  function wake(e) {
    const stops = e.target instanceof Element && e.target.closest("button.stop") !== null;
    if (e.type === "pointerdown" || e.type === "keydown") {
      swallow = ui.asleep && !stops && fresh();
      if (swallow) {
        ui.asleep = false;
        on.draw();
      }
    }
    if (swallow) {
      e.preventDefault();
      e.stopImmediatePropagation();
    }
  }
  for (const type of ["pointerdown", "pointerup", "click", "keydown", "keyup"]) addEventListener(type, wake, { capture: true });

  return {
    snap: () => snap,
    client: () => client,
    age: () => link.age(),
    /** A snapshot is there and not stale. */
    fresh,
    /** Whether a control may act now; the page looks as disabled as this says. */
    live,
    /** The box has been asked for something and does not answer. */
    slow: () => commands.slow(),
    say,
    contact,
    /**
     * @param {string} verb
     * @param {import("./commands.js").Parts} [parts]
     * @param {(ok: boolean) => void} [done]
     */
    do: (verb, parts, done) => commands.do(snap, verb, parts, (ok) => {
      if (ok) {
        doneAt = performance.now();
        ui.said = ""; // what was refused before it is past
      }
      done?.(ok);
    }),
    /** How long ago the last command was done, in milliseconds; no contact counts. */
    sinceDone: () => performance.now() - doneAt,
    takeOver() {
      if (fresh() && !ui.asleep) commands.do(snap, "take_lease");
    },
    /** Before every drawing: what time alone changes. */
    look() {
      commands.tick();
      if (snap !== null && link.age() > staleAfterMs) ui.asleep = true;
      if (ui.said && performance.now() - saidAt > saidForMs) ui.said = "";
    },
  };
}

/** Keys of the simulated contacts. @type {Record<string, string>} */
export const contactKeys = { b: "squeeze", g: "step", t: "taste" };

/** @param {EventTarget|null} target */
export function typing(target) {
  return target instanceof HTMLInputElement || target instanceof HTMLSelectElement || target instanceof HTMLTextAreaElement;
}

/**
 * What a person does with the clock's form, on every page that has it.
 * @param {ReturnType<typeof driver>} d
 * @param {{clock: import("./state-inputs.js").Edit}} ui
 * @param {() => void} draw
 * @returns {import("./view-clock.js").ClockActs}
 */
export function clockActs(d, ui, draw) {
  return {
    edit(edit) {
      ui.clock = edit;
      draw();
    },
    now: () => Date.now(),
    confirm() {
      const snap = d.snap();
      const wall = snap ? wallOf(snap.clock, ui.clock, Date.now()) : "";
      if (!d.live() || wall === "") return;
      d.do("confirm_clock", { wall }, (ok) => {
        if (ok) ui.clock = null;
      });
    },
  };
}
