// SPDX-License-Identifier: Apache-2.0

// Joins the page First run: what every driving page has, and the box's lists,
// which are read again every few seconds since another screen may fill them.

import { render } from "./vendor/lit-html.js";
import { api } from "./api.js";
import { readChoices } from "./contract.js";
import { clockActs, contactKeys, driver, typing } from "./driver.js";
import { speak } from "./lang.js";
import { drawing, getJSON, root } from "./screen.js";
import { shown } from "./state.js";
import { inputsShown } from "./state-inputs.js";
import { first, order, steps } from "./state-start.js";
import { start } from "./view-start.js";

await speak(["run", "inputs", "bench", "start"]);

const againMs = 5000;
const tone = "top_up_due";
/** @type {import("./view-start.js").Ui} */
const ui = { asleep: false, sim: false, said: "", problem: "", contacts: [], clock: null, step: fromAddress(), known: { choices: null, kit: null, drills: null }, unread: "", heard: "", slow: false };
let begun = ui.step !== "";

const place = root("start.title");
const d = driver(ui, { draw });
const box = api((url, init) => fetch(url, init));

function fromAddress() {
  const step = location.hash.slice(1);
  return order.includes(step) ? step : "";
}

/** @type {import("./view-start.js").Acts} */
const act = {
  go(step) {
    ui.step = step;
    begun = true;
    history.replaceState(null, "", step ? `#${step}` : location.pathname);
    draw();
    const control = place.querySelector(step ? `#${step} h2 button` : "h1");
    if (step && control instanceof HTMLElement) {
      control.focus({ preventScroll: true });
      control.scrollIntoView({ block: "nearest" });
    }
  },
  verb(verb) {
    if (d.live()) d.do(verb);
  },
  tone() {
    if (!d.live()) return;
    d.do("tone", { cue: tone }, (ok) => {
      if (ok) ui.heard = "asked";
      draw();
    });
  },
  heard(heard) {
    ui.heard = heard ? "heard" : "not";
    draw();
  },
  takeOver: d.takeOver,
  contact: d.contact,
  clock: clockActs(d, ui, draw),
};

function draw() {
  d.look();
  ui.slow = d.slow();
  const snap = d.snap();
  const all = snap ? steps(snap, ui.known, ui.heard === "heard") : [];
  // The first step that is not done stands open, once the box has said all that
  // it knows; from then on a person chooses.
  if (!begun && snap && !all.some((x) => x.is === "unknown")) {
    begun = true;
    ui.step = first(all);
  }
  render(start(snap, snap && shown(snap, d.age(), d.client()), snap && inputsShown(snap, d.age()), all, ui, act), place);
}

/** Drills among the newest records. @param {unknown} lines */
const drillsIn = (lines) => (Array.isArray(lines) ? lines.filter((l) => typeof l?.practice === "string" && l.practice.includes("drill")).length : 0);

async function ask() {
  const why = (/** @type {unknown} */ err) => (err instanceof Error ? err.message : String(err));
  const [choices, kit, records] = await Promise.allSettled([getJSON("/api/choices").then(readChoices), box.kit(), getJSON("/api/records")]);
  if (choices.status === "fulfilled") ui.known.choices = choices.value;
  if (kit.status === "fulfilled") ui.known.kit = kit.value;
  if (records.status === "fulfilled") ui.known.drills = drillsIn(records.value);
  const bad = [choices, kit, records].find((r) => r.status === "rejected");
  ui.unread = bad?.status === "rejected" ? why(bad.reason) : "";
  draw();
  setTimeout(ask, againMs);
}

addEventListener("hashchange", () => {
  const step = fromAddress();
  if (step && step !== ui.step) act.go(step);
});
addEventListener("keydown", (e) => {
  if (e.ctrlKey || e.altKey || e.metaKey || e.repeat || typing(e.target)) return;
  const line = contactKeys[e.key.toLowerCase()];
  if (ui.sim && line) act.contact(line, true);
});
addEventListener("keyup", (e) => {
  const line = contactKeys[e.key.toLowerCase()];
  if (ui.sim && line) act.contact(line, false);
});
try {
  sessionStorage.setItem("tallyhood.start", "1"); // other pages then show the way back
} catch {
  // Without it the browser's own way back is left.
}

void ask();
drawing(draw);
