// SPDX-License-Identifier: Apache-2.0

// Joins the Bench's parts: what every driving page has, the keys, and what the
// page itself remembers (the form, an open panel).

import { render } from "./vendor/lit-html.js";
import { readChoices } from "./contract.js";
import { clockActs, contactKeys, driver, typing } from "./driver.js";
import { load, speak, t } from "./lang.js";
import { drawing, getJSON, root, size, toMain } from "./screen.js";
import { shown } from "./state.js";
import { tapOnce } from "./taps.js";
import { bench } from "./view-bench.js";

await speak(["run", "bench", "tell", "help", "drill"]);
try {
  sessionStorage.removeItem("tallyhood.start"); // who is here has found the way
} catch {
  // Then there is nothing to remove.
}

/** Whether the drill that is open was begun in this tab, until this page drives. */
let begun = false;
try {
  begun = sessionStorage.getItem("tallyhood.drill") !== null;
  sessionStorage.removeItem("tallyhood.drill");
} catch {
  // Then a person takes over.
}
/** So long the page before has for going. */
const begunForMs = 10_000;

const holdMs = 1000;
let holdTimer = 0;
/** @type {import("./view-bench.js").Ui} */
const ui = {
  size: size(), asleep: false, sim: false, panel: "none", holding: false, far: false, slow: false, said: "", problem: "", choices: null,
  form: { wearer: "", facepiece: "", rules: "", agent: "", tester: "", hood: "" }, contacts: [], clock: null, water: null,
};

const place = root("run.nav.bench");
const d = driver(ui, {
  draw,
  snapshot(next, last) {
    if (last?.run && !next.run) {
      ui.form = { ...ui.form, wearer: "", facepiece: "" };
      readLists();
    }
    if (next.run?.stage !== last?.run?.stage || next.run?.run !== last?.run?.run) ui.said = "";
    if (next.run?.stage !== "ready") ui.water = null;
    if (next.driver !== "" && next.driver === d.client()) begun = false;
    // A correction is of the dose that was open when it was begun.
    if ((next.run?.stage !== last?.run?.stage || next.run?.dose?.n !== last?.run?.dose?.n) && ui.panel === "count") ui.panel = "none";
    for (const run of [next.run, ...next.parked]) learn(run?.wearer_language ?? "");
  },
  release: () => act.hold(false),
  begun: () => begun && performance.now() < begunForMs,
});

/** @type {import("./view-bench.js").Acts} */
const act = {
  verb(verb, input = {}) {
    if (!d.live() && !(verb === "welfare" && d.fresh())) return;
    ui.said = "";
    d.do(verb, { input: { do: verb, ...input } });
    draw();
  },
  water(min) {
    const run = d.snap()?.run?.run ?? "";
    if (d.live()) d.do("abstained", { input: { do: "abstained", for_ns: min * 60e9 } }, (ok) => {
      if (ok) ui.water = { run, min };
      draw();
    });
  },
  open() {
    if (d.live()) d.do("open", { open: { ...ui.form } }, (ok) => ok || readLists()); // what was refused may have gone from a list
  },
  prove() {
    if (!d.live()) return;
    ui.far = false; // its answers are near
    act.verb("begin_proof");
  },
  close() {
    if (d.live()) d.do("close");
  },
  takeOver: d.takeOver,
  park() {
    if (d.live()) d.do("park", { input: { do: "park" } });
  },
  takeUp(run) {
    if (!d.live()) return;
    const up = () => d.do("take_up", { run });
    // What is on the screen is set aside first; refused, nothing else happens.
    if (d.snap()?.run) d.do("park", { input: { do: "park" } }, (ok) => ok && up());
    else up();
  },
  far(far) {
    ui.far = far;
    ui.panel = "none";
    draw();
  },
  choose(name, value) {
    const was = ui.form.wearer;
    ui.form = { ...ui.form, [name]: value };
    if (name === "wearer" && value !== was) ui.form.facepiece = onlyPiece(value, was === "" ? ui.form.facepiece : "");
    draw();
  },
  panel(panel) {
    const was = ui.panel;
    ui.panel = panel;
    draw();
    if (panel === "keys" && was !== "keys") focusOn(".keys");
  },
  hold(down) {
    clearTimeout(holdTimer);
    ui.holding = down && d.live();
    if (ui.holding) {
      holdTimer = setTimeout(() => {
        ui.holding = false;
        act.verb("abandon");
      }, holdMs);
    }
    draw();
  },
  contact: d.contact,
  clock: clockActs(d, ui, draw),
};

function draw() {
  d.look();
  const snap = d.snap();
  ui.size = size();
  ui.slow = d.slow();
  const had = place.contains(document.activeElement);
  const s = snap && shown(snap, d.age(), d.client());
  if (s && s.noteMs > d.sinceDone()) s.note = ""; // something was done since
  render(bench(snap, s, d.age(), ui, act), place);
  if (had && document.activeElement === document.body) toMain(); // at once, before the next key
}

/**
 * The facepiece of somebody who needs one alone; else what was chosen, where it
 * is on that person's list or there is none.
 * @param {string} wearer @param {string} chosen not for somebody else
 */
function onlyPiece(wearer, chosen) {
  const needs = ui.choices?.people.find((p) => p.id === wearer)?.facepieces ?? [];
  if (needs.length === 0 || needs.includes(chosen)) return chosen;
  const there = (ui.choices?.facepieces ?? []).filter((f) => needs.includes(f.id));
  return there.length === 1 ? (there[0]?.id ?? "") : "";
}

/** @param {string} what */
function focusOn(what) {
  const el = place.querySelector(what);
  if (el instanceof HTMLElement) el.focus({ preventScroll: true });
}

/** Languages whose words to say are here, or being fetched. @type {Set<string>} */
const known = new Set(["", "en"]);

/** @param {string} lang */
function learn(lang) {
  if (known.has(lang)) return;
  known.add(lang);
  load(lang, ["tell"]).then(draw, () => known.delete(lang));
}

function readLists() {
  getJSON("/api/choices").then(
    (value) => {
      const c = readChoices(value);
      if (ui.choices === null) ui.problem = "";
      ui.choices = c;
      // What was chosen may be gone from the box meanwhile.
      const kept = (/** @type {{id: string}[]} */ of, /** @type {string} */ id) => (of.some((o) => o.id === id) ? id : "");
      ui.form = { ...ui.form, wearer: kept(c.people, ui.form.wearer), facepiece: kept(c.facepieces, ui.form.facepiece), rules: kept(c.rules, ui.form.rules) };
      const only = (/** @type {{id: string}[]} */ of) => (of.length === 1 ? (of[0]?.id ?? "") : "");
      ui.form.rules ||= only(c.rules);
      // From the page of a person: that person is chosen already.
      const asked = new URLSearchParams(location.search).get("person") ?? "";
      if (ui.form.wearer === "" && c.people.some((p) => p.id === asked)) {
        ui.form.wearer = asked;
        ui.form.facepiece = onlyPiece(asked, ui.form.facepiece);
      }
      if (!c.hoods.some((h) => h.id === ui.form.hood)) ui.form.hood = "";
      ui.form.tester ||= c.testers.length === 1 ? (c.testers[0] ?? "") : "";
      draw();
    },
    (/** @type {unknown} */ err) => {
      ui.problem = t("bench.lists_failed", { why: err instanceof Error ? err.message : String(err) });
      draw();
      setTimeout(readLists, 5000);
    },
  );
}

/** @type {Record<string, string>} */
const verbKeys = { a: "said_aloud", f: "touched", h: "hood_off", m: "mist_failed" };

addEventListener("keydown", (e) => {
  // Space never presses what ends a run, whatever has the focus.
  if (e.key === " " && e.target instanceof Element && e.target.closest(".danger")) e.preventDefault();
  if (e.ctrlKey || e.altKey || e.metaKey || e.repeat || typing(e.target)) return;
  const key = e.key.toLowerCase();
  const snap = d.snap();
  const s = snap && shown(snap, d.age(), d.client());
  if (e.key === "?") {
    if (ui.far) act.far(false);
    act.panel(ui.panel === "keys" ? "none" : "keys");
  } else if (e.key === "Escape" && ui.far) act.far(false);
  else if (e.key === "Escape" && ui.panel === "none" && s?.may.leaveProof) act.verb("leave_proof");
  else if (e.key === "Escape") act.panel("none");
  else if (ui.sim && contactKeys[key]) act.contact(contactKeys[key], true);
  else if (s?.may.takeUp && s.parked[Number(key) - 1]) act.takeUp(s.parked[Number(key) - 1]?.run ?? "");
  else if (!s || !snap?.run) return;
  else if (key === "d") act.far(!ui.far);
  else if (key === "k" && s.may.park) act.park();
  else if (key === "g" && s.goOn && !s.blocked) act.verb("go_on");
  else if (key === "s" && s.may.stop) act.verb("welfare");
  else if (key === "q" && s.may.stop && !s.may.leaveProof) act.hold(true);
  else if (key === "c" && s.may.correct && !ui.far) act.panel("count");
  else if (key === "n" && s.verdict && snap.run.stage === "over") act.close();
  else if (key === "p" && s.verdict?.mayProve) act.prove();
  else if (verbKeys[key] && { a: s.may.aloud !== "", f: s.may.touched, h: s.may.hoodOff, m: s.may.noMist }[key]) act.verb(verbKeys[key]);
});
addEventListener("keyup", (e) => {
  if (e.key === " " && e.target instanceof Element && e.target.closest(".danger")) e.preventDefault();
  const key = e.key.toLowerCase();
  const line = contactKeys[key];
  if (ui.sim && line) act.contact(line, false);
  if (key === "q") act.hold(false);
});

tapOnce();
readLists();
drawing(draw);
