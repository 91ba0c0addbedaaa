// SPDX-License-Identifier: Apache-2.0

// Every state of the Bench, the page Inputs, the Wearer's screen and the Gallery
// from sample snapshots: a reference to look at. ?only=NAME shows one alone.

import { html, nothing, render } from "./vendor/lit-html.js";
import { box, choices, inputStates, poorBox, silentBox, states } from "./samples.js";
import { root, size } from "./screen.js";
import { shown, wearerShown } from "./state.js";
import { inputsShown } from "./state-inputs.js";
import { bench } from "./view-bench.js";
import { gallery } from "./view-gallery.js";
import { inputs } from "./view-inputs.js";
import { wearer } from "./view-wearer.js";

const act = { verb() {}, open() {}, close() {}, takeOver() {}, choose() {}, panel() {}, hold() {}, contact() {}, learn() {}, tone() {},
  clock: { edit() {}, now: () => 0, confirm() {} },
};
const form = { wearer: "p1", facepiece: "f2", rules: "uk-hse", agent: "bitter", tester: "Oda Fennimore" };
/** @param {Partial<import("./view-bench.js").Ui>} over @returns {import("./view-bench.js").Ui} */
const ui = (over) => ({
  size: size(), asleep: false, sim: false, panel: "none", holding: false, said: "", problem: "", choices, form, contacts: [], clock: null, ...over,
});

/** @returns {Record<string, () => unknown>} */
function screens() {
  /** @type {Record<string, () => unknown>} */
  const out = {};
  /** @param {string} name @param {string} of @param {Partial<import("./view-bench.js").Ui>} [over] @param {number} [age] */
  const add = (name, of, over = {}, age = 120) => {
    const snap = states[of] ?? null;
    out[`bench-${name}`] = () => bench(snap, snap && shown(snap, age, "page-1"), age, ui(over), act);
  };
  for (const name of Object.keys(states)) add(name, name, { sim: name.endsWith("practice") });
  add("stale", "due", {}, 4200);
  add("asleep", "due", { asleep: true });
  add("count", "due", { panel: "count" });
  add("keys", "due", { panel: "keys" });
  add("refused", "due", { said: "A count can be corrected only while its dose is open." });
  for (const name of ["no-run", "ready", "screening", "clearing", "donning", "dosing", "proving", "pass", "proving-mist", "due-practice"]) {
    out[`wearer-${name}`] = () => wearer(wearerShown(states[name] ?? null, 100), states[name]?.practice);
  }
  out["wearer-lost"] = () => wearer(wearerShown(null, 0), undefined);
  const due = states.due;
  for (let e = 0; e < 7 && due?.run; e++) {
    const snap = { ...due, run: { ...due.run, run_ms: e * 60_000 + 23_000 } };
    out[`wearer-exercise-${e + 1}`] = () => wearer(wearerShown(snap, 0), undefined);
  }
  for (const name of ["no-run", "due", "due-practice", "not-valid"]) {
    const snap = states[name] ?? null;
    const masked = snap?.run ? { ...snap, run: { ...snap.run, wearer: "", tester: "" } } : snap;
    out[`gallery-${name}`] = () => gallery(masked, masked && shown(masked, 100, ""), { size: size(), problem: "" });
  }
  /** @param {string} name @param {string} of @param {Partial<import("./view-inputs.js").Ui>} [over] @param {number} [age] */
  const addInputs = (name, of, over = {}, age = 120) => {
    const snap = inputStates[of] ?? null;
    const own = { asleep: false, sim: snap?.practice !== undefined, said: "", problem: "", contacts: [], box, boxProblem: "", clock: null, ...over };
    out[`inputs-${name}`] = () => inputs(snap, snap && shown(snap, age, "page-1"), snap && inputsShown(snap, age), own, act);
  };
  for (const name of Object.keys(inputStates)) addInputs(name, name);
  addInputs("low-volts", "good", { box: poorBox });
  addInputs("silent", "good", { box: silentBox });
  addInputs("no-box", "good", { box: null, boxProblem: "The state of the box could not be read (/api/box: 404 Not Found)." });
  addInputs("clock-edited", "clock-unset", { clock: { date: "2026-09-14", time: "09:41:00", screen: false } });
  addInputs("refused", "run-open", { said: "A run is open already." });
  addInputs("stale", "good", {}, 4200);
  out["inputs-loading"] = () => inputs(null, null, null, { asleep: false, sim: false, said: "", problem: "", contacts: [], box: null, boxProblem: "", clock: null }, act);
  return out;
}

const only = new URLSearchParams(location.search).get("only");
const place = root();
function draw() {
  const all = screens();
  const one = only === null ? undefined : all[only];
  render(
    one ? one() : html`<div class="sheet plain states"><h1>Every state</h1>${Object.entries(all).map(
      ([name, view]) => html`<h2><a href=${`?only=${name}`}>${name}</a></h2><div class="frame">${view()}</div>`,
    )}${nothing}</div>`,
    place,
  );
}
draw();
addEventListener("resize", draw);
