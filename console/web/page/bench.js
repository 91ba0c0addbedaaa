// SPDX-License-Identifier: Apache-2.0

// Joins the Bench's parts: socket, commands, keys, and what the page itself
// remembers (the form, an open panel, whether it is awake).

import { render } from "./vendor/lit-html.js";
import { commander } from "./commands.js";
import { readChoices } from "./contract.js";
import { openLink } from "./link.js";
import { drawing, getJSON, root, size } from "./screen.js";
import { shown, staleAfterMs } from "./state.js";
import { bench } from "./view-bench.js";
import { lookUp, whys } from "./words.js";

const holdMs = 1000;
const saidForMs = 6000;

/** @type {import("./contract.js").Snapshot|null} */
let snap = null;
let client = "";
let first = true;
let saidAt = 0;
let holdTimer = 0;
/** @type {import("./view-bench.js").Ui} */
const ui = {
  size: size(), asleep: false, sim: false, panel: "none", holding: false, said: "", problem: "", choices: null,
  form: { wearer: "", facepiece: "", rules: "", agent: "", tester: "" }, contacts: [],
};

const link = openLink({
  role: "tester",
  message(m) {
    if (m.type === "welcome") {
      client = m.client;
      ui.sim = m.sim;
    } else if (m.type === "reply") {
      commands.reply(m);
    } else {
      if (snap?.run && !m.run) {
        ui.form = { ...ui.form, wearer: "", facepiece: "" };
        readLists();
      }
      if (m.run?.stage !== snap?.run?.stage && ui.panel === "count") ui.panel = "none";
      snap = m;
      // An idle box that nobody drives is this page's on loading; a run that is
      // open is taken over by a person only.
      if (first && client !== "" && m.driver === "" && m.run === null) commands.do(snap, "take_lease");
      if (client !== "") first = false;
    }
    draw();
  },
  problem(text) {
    ui.problem = text;
    draw();
  },
  lost() {
    if (snap !== null) ui.asleep = true;
    releaseAll();
    draw();
  },
});

const commands = commander({
  send: (c) => link.send(c),
  id: () => client,
  now: () => performance.now(),
  said(why) {
    ui.said = lookUp(whys, why);
    saidAt = performance.now();
    draw();
  },
});

/** Whether a control may act now; the page looks as disabled as this says. */
function live() {
  return snap !== null && link.age() <= staleAfterMs && !ui.asleep && snap.driver === client;
}

/** @type {import("./view-bench.js").Acts} */
const act = {
  verb(verb, input = {}) {
    const stop = verb === "welfare" && snap !== null && link.age() <= staleAfterMs;
    if (!live() && !stop) return;
    ui.said = "";
    commands.do(snap, verb, { input: { do: verb, ...input } });
    draw();
  },
  open() {
    if (live()) commands.do(snap, "open", { open: { ...ui.form } });
  },
  close() {
    if (live()) commands.do(snap, "close");
  },
  takeOver() {
    if (link.age() <= staleAfterMs && !ui.asleep) commands.do(snap, "take_lease");
  },
  choose(name, value) {
    ui.form = { ...ui.form, [name]: value };
    draw();
  },
  panel(panel) {
    ui.panel = panel;
    draw();
  },
  hold(down) {
    clearTimeout(holdTimer);
    ui.holding = down && live();
    if (ui.holding) {
      holdTimer = setTimeout(() => {
        ui.holding = false;
        act.verb("abandon");
      }, holdMs);
    }
    draw();
  },
  contact(line, closed) {
    const held = ui.contacts.includes(line);
    if (held === closed || (closed && !live())) return;
    ui.contacts = closed ? [...ui.contacts, line] : ui.contacts.filter((l) => l !== line);
    commands.do(snap, "sim", { sim: { line, closed } });
    draw();
  },
};

/** Lets go of every simulated contact and of the hold. */
function releaseAll() {
  for (const line of [...ui.contacts]) act.contact(line, false);
  act.hold(false);
}

const place = root();
function draw() {
  const age = link.age();
  if (snap !== null && age > staleAfterMs) ui.asleep = true;
  if (ui.said && performance.now() - saidAt > saidForMs) ui.said = "";
  ui.size = size();
  render(bench(snap, snap && shown(snap, age, client), ui, act), place);
}

function readLists() {
  getJSON("/api/choices").then(
    (value) => {
      const c = readChoices(value);
      ui.choices = c;
      const only = (/** @type {{id: string}[]} */ of) => (of.length === 1 ? (of[0]?.id ?? "") : "");
      ui.form.rules ||= only(c.rules);
      ui.form.tester ||= c.testers.length === 1 ? (c.testers[0] ?? "") : "";
      draw();
    },
    (/** @type {unknown} */ err) => {
      ui.problem = `The lists of people and facepieces could not be read (${err instanceof Error ? err.message : String(err)}).`;
      draw();
      setTimeout(readLists, 5000);
    },
  );
}

// The first touch after a loss only wakes. Stop is exempt: it is for a person
// in distress, and what it does is safe.
let swallow = false;
/** @param {Event} e */
function wake(e) {
  const stops = e.target instanceof Element && e.target.closest("button.stop") !== null;
  if (e.type === "pointerdown" || e.type === "keydown") {
    swallow = ui.asleep && !stops && snap !== null && link.age() <= staleAfterMs;
    if (swallow) {
      ui.asleep = false;
      draw();
    }
  }
  if (swallow) {
    e.preventDefault();
    e.stopImmediatePropagation();
  }
}
for (const type of ["pointerdown", "pointerup", "click", "keydown", "keyup"]) addEventListener(type, wake, { capture: true });

/** @type {Record<string, string>} */
const contactKeys = { b: "squeeze", g: "step", t: "taste" };
/** @type {Record<string, string>} */
const verbKeys = { a: "said_aloud", f: "touched", h: "hood_off", m: "mist_failed" };

addEventListener("keydown", (e) => {
  // Space never presses what ends a run, whatever has the focus.
  if (e.key === " " && e.target instanceof Element && e.target.closest(".danger")) e.preventDefault();
  if (e.ctrlKey || e.altKey || e.metaKey || e.repeat || typing(e.target)) return;
  const key = e.key.toLowerCase();
  const s = snap && shown(snap, link.age(), client);
  if (e.key === "?") act.panel(ui.panel === "keys" ? "none" : "keys");
  else if (e.key === "Escape") act.panel("none");
  else if (ui.sim && contactKeys[key]) act.contact(contactKeys[key], true);
  else if (!s || !snap?.run) return;
  else if (key === "g" && s.goOn && !s.blocked) act.verb("go_on");
  else if (key === "s" && s.may.stop) act.verb("welfare");
  else if (key === "q" && s.may.stop) act.hold(true);
  else if (key === "c" && s.may.correct) act.panel("count");
  else if (key === "n" && s.verdict && snap.run.stage === "over") act.close();
  else if (key === "p" && s.verdict?.mayProve) act.verb("begin_proof");
  else if (verbKeys[key] && { a: s.may.aloud !== "", f: s.may.touched, h: s.may.hoodOff, m: s.may.noMist }[key]) act.verb(verbKeys[key]);
});
addEventListener("keyup", (e) => {
  if (e.key === " " && e.target instanceof Element && e.target.closest(".danger")) e.preventDefault();
  const key = e.key.toLowerCase();
  const line = contactKeys[key];
  if (ui.sim && line) act.contact(line, false);
  if (key === "q") act.hold(false);
});
addEventListener("blur", releaseAll);

/** @param {EventTarget|null} target */
function typing(target) {
  return target instanceof HTMLInputElement || target instanceof HTMLSelectElement || target instanceof HTMLTextAreaElement;
}

readLists();
drawing(() => {
  commands.tick();
  draw();
});
