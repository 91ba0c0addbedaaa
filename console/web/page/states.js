// SPDX-License-Identifier: Apache-2.0

// Every state of the Bench, Inputs, First run and the help from sample snapshots: a
// reference to look at. ?only=NAME shows one alone. states-live.js has the
// Wearer's screen and the Gallery.

import { html } from "./vendor/lit-html.js";
import { speak } from "./lang.js";
import { box, choices, hoods, inputStates, kitOf, nothingKnown, poorBox, running, silentBox, states } from "./samples.js";
import { root, size } from "./screen.js";
import { shown } from "./state.js";
import { inputsShown } from "./state-inputs.js";
import { steps } from "./state-start.js";
import { drawing, showing } from "./states-show.js";
import { bench } from "./view-bench.js";
import { help, panel } from "./view-help.js";
import { inputs } from "./view-inputs.js";
import { start } from "./view-start.js";

await speak(["run", "inputs", "bench", "tell", "help", "start", "drill"]);

const act = { verb() {}, water() {}, prove() {}, open() {}, close() {}, takeOver() {}, park() {}, takeUp() {}, far() {}, go() {}, heard() {}, choose() {}, panel() {}, hold() {}, contact() {}, learn() {}, tone() {}, turn() {},
  clock: { edit() {}, now: () => 0, confirm() {} },
};
const form = { wearer: "p1", facepiece: "f2", rules: "uk-hse", agent: "bitter", tester: "Oda Fennimore" };
/** @param {Partial<import("./view-bench.js").Ui>} over @returns {import("./view-bench.js").Ui} */
const ui = (over) => ({
  size: size(), asleep: false, sim: false, panel: "none", holding: false, far: false, slow: false, said: "", problem: "", choices, form, contacts: [], clock: null, water: null, ...over,
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
  /** @param {string} name @param {string} of @param {Partial<import("./view-bench.js").Ui>} over @param {Partial<import("./contract.js").Snapshot>} but */
  const addAs = (name, of, over, but) => {
    const snap = { .../** @type {import("./contract.js").Snapshot} */ (states[of]), ...but };
    out[`bench-${name}`] = () => bench(snap, shown(snap, 120, "page-1"), 120, ui(over), act);
  };
  const practice = "simulated board";
  for (const of of ["donning", "pass", "fail", "not-valid", "cannot-taste"]) addAs(`${of}-watching`, of, { sim: true }, { driver: "page-2", practice });
  addAs("donning-practice", "parked-open", { sim: true }, { practice });
  addAs("pass-asleep", "pass", { sim: true, asleep: true }, { practice });
  add("stale", "due", {}, 4200);
  add("asleep", "due", { asleep: true });
  add("count", "due", { panel: "count" });
  addAs("count-half", "due", { panel: "count" }, { run: running(10, 101_000, 3, { no_add: "half_by_hand" }) });
  add("keys", "due", { panel: "keys" });
  add("slow", "donned", { slow: true });
  add("nobody", "no-run", { choices: { ...choices, people: [], facepieces: [] } });
  add("lists", "no-run", { choices: null });
  add("hood", "no-run", { choices: { ...choices, hoods }, form: { ...form, facepiece: "f1", hood: "h1" } });
  add("hood-large", "no-run", { choices: { ...choices, hoods }, form: { ...form, facepiece: "f1", hood: "h2" } });
  for (const name of ["ready", "screening", "donning", "wrong-person", "dosing", "due", "waiting", "due-thirty", "proving", "ending", "pass", "fail", "not-valid", "due-practice"]) add(`far-${name}`, name, { far: true });
  add("far-stale", "due", { far: true }, 4200);
  out["bench-loading"] = () => bench(null, null, 0, ui({}), act);
  add("water", "ready-open", { water: { run: "r-20260914-07", min: 5 } });
  add("open-missing", "no-run", { form: { ...form, facepiece: "", tester: "" } });
  out["bench-clearing-doubtful"] = () => {
    const snap = { .../** @type {import("./contract.js").Snapshot} */ (states.clearing) };
    if (snap.run) snap.run = { ...snap.run, screening: { squeezes: 9, counted: 11, most: 30, bin: 20 } };
    return bench(snap, shown(snap, 120, "page-1"), 120, ui({}), act);
  };
  add("uncleared", "no-run", { choices: { ...choices, people: choices.people.map((p) => ({ ...p, uncleared: true })) }, form: { ...form, facepiece: "f1" } });
  add("refused", "due", { said: "A count can be corrected only while its dose is open." });
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
  addStart(out);
  out.help = () => help(true);
  for (const page of ["bench", "people", ""]) out[`help-panel-${page || "other"}`] = () => html`<main class="sheet"><h1>${page || "Other"}</h1><dialog class="help-dialog" open>${panel(page, true, () => {})}</dialog></main>`;
  return out;
}

/** @param {Record<string, () => unknown>} out */
function addStart(out) {
  /** @param {string} name @param {import("./contract.js").Snapshot|undefined} snap @param {Partial<import("./view-start.js").Ui>} over @param {number} [age] */
  const add = (name, snap, over, age = 120) => {
    /** @type {import("./view-start.js").Ui} */
    const own = { asleep: false, sim: false, said: "", problem: "", contacts: [], clock: null, step: "", known: nothingKnown, unread: "", heard: "", slow: false, ...over };
    out[`start-${name}`] = () => start(snap ?? null, snap ? shown(snap, age, "page-1") : null, snap ? inputsShown(snap, age) : null, snap ? steps(snap, own.known, own.heard === "heard") : [], own, act);
  };
  const none = { choices: { ...choices, people: [], facepieces: [] }, kit: kitOf(), drills: 0 };
  add("loading", undefined, {});
  add("unknown", inputStates.unchecked, { unread: "/api/choices: 503 Service Unavailable" });
  add("empty", inputStates["clock-unset"], { step: "inputs", known: none });
  add("check", inputStates["check-asking"], { step: "inputs", known: none });
  add("unplugged", inputStates.unplugged, { step: "inputs", known: none });
  add("sound", inputStates.unchecked, { sim: true, step: "sound", known: none, heard: "asked" });
  add("clock", inputStates["clock-unset"], { step: "clock", known: none });
  add("people", inputStates.good, { step: "people", known: none });
  add("facepieces", inputStates.good, { step: "facepieces", known: none });
  add("kit", inputStates.good, { step: "kit", known: { ...none, choices, kit: kitOf("weak") } });
  add("drill", inputStates.good, { step: "drill", known: { choices, kit: kitOf("weak", "strong"), drills: 0 } });
  add("ready", inputStates.good, { known: { choices, kit: kitOf("weak", "strong"), drills: 2 } });
  add("run-open", inputStates["run-open"], { step: "inputs", known: none });
  add("stale", inputStates.good, { step: "people", known: none }, 4200);
}

const place = root();
drawing(screens, place);
showing(["run", "inputs", "bench", "tell", "help", "start", "drill"], screens(), place);
