// SPDX-License-Identifier: Apache-2.0

// Joins the parts of the page Inputs: what every driving page has, the state of
// the box every ten seconds, and the clock's form.

import { render } from "./vendor/lit-html.js";
import { readBox } from "./contract.js";
import { clockActs, contactKeys, driver, typing } from "./driver.js";
import { speak, t } from "./lang.js";
import { drawing, getJSON, root } from "./screen.js";
import { shown } from "./state.js";
import { inputsShown } from "./state-inputs.js";
import { inputs } from "./view-inputs.js";

await speak(["run", "inputs"]);

const boxEveryMs = 10_000;

/** @type {import("./view-inputs.js").Ui} */
const ui = { asleep: false, sim: false, said: "", problem: "", contacts: [], box: null, boxProblem: "", clock: null };

const place = root("run.nav.inputs");
const d = driver(ui, { draw });

/** @type {import("./view-inputs.js").Acts} */
const act = {
  verb(verb) {
    if (d.live()) d.do(verb);
  },
  learn(line) {
    if (d.live()) d.do("learn", { line });
  },
  tone(cue) {
    if (d.live()) d.do("tone", { cue });
  },
  turn(verb, to) {
    if (d.live()) d.do(verb, to);
  },
  takeOver: d.takeOver,
  contact: d.contact,
  clock: clockActs(d, ui, draw),
};

function draw() {
  d.look();
  const snap = d.snap();
  render(inputs(snap, snap && shown(snap, d.age(), d.client()), snap && inputsShown(snap, d.age()), ui, act), place);
}

async function askBox() {
  try {
    ui.box = readBox(await getJSON("/api/box"));
    ui.boxProblem = "";
  } catch (err) {
    ui.boxProblem = t(ui.box ? "inputs.unread_old" : "inputs.unread", { why: err instanceof Error ? err.message : String(err) });
  }
  draw();
  setTimeout(askBox, boxEveryMs);
}

addEventListener("keydown", (e) => {
  if (e.ctrlKey || e.altKey || e.metaKey || e.repeat || typing(e.target)) return;
  const line = contactKeys[e.key.toLowerCase()];
  if (ui.sim && line) act.contact(line, true);
});
addEventListener("keyup", (e) => {
  const line = contactKeys[e.key.toLowerCase()];
  if (ui.sim && line) act.contact(line, false);
});

askBox();
drawing(draw);
