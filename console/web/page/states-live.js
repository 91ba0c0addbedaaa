// SPDX-License-Identifier: Apache-2.0

// Every state of the Wearer's screen and the Gallery from sample snapshots: a
// reference to look at. ?only=NAME shows one alone, &lang=ar in a language.

import { speak, wearerLanguages } from "./lang.js";
import { run, running, snapshot, states } from "./samples.js";
import { root, size } from "./screen.js";
import { remarksOf } from "./state-gallery.js";
import { wearerSees } from "./state-wearer.js";
import { drawing, showing } from "./states-show.js";
import { gallery } from "./view-gallery.js";
import { wearer } from "./view-wearer.js";

await speak(["run", "wearer", "passages", "gallery"], wearerLanguages);

/** @typedef {import("./contract.js").Snapshot} Snapshot */

const asked = { digit() {}, back() {}, answer() {}, language() {} };
/** @type {import("./state-wearer.js").Own} */
const idle = { typed: "", said: "", answered: "", unsent: false };

/** As the box masks it for a wearer's page. @param {Snapshot|undefined} s @param {Partial<import("./contract.js").Run>} [over] @returns {Snapshot|null} */
function forWearer(s, over = {}) {
  return s ? { ...s, run: s.run && { ...s.run, wearer: "", tester: "", facepiece: "", verdict: null, name_said: "yes", ...over } } : null;
}

/** @returns {Record<string, () => unknown>} */
function screens() {
  /** @type {Record<string, () => unknown>} */
  const out = {};
  /** @param {string} name @param {Snapshot|null} snap @param {Partial<import("./state-wearer.js").Own>} [own] */
  const wears = (name, snap, own = {}) => {
    const all = { ...idle, ...own };
    out[`wearer-${name}`] = () => wearer(wearerSees(snap, 100, all), all, snap?.practice, asked);
  };
  const unpaired = snapshot({ pairing: "needed" });
  wears("pair", unpaired);
  wears("pair-typing", unpaired, { typed: "47" });
  for (const said of /** @type {const} */ (["wrong", "later", "ended"])) wears(`pair-${said}`, unpaired, { said });
  const ready = snapshot({ run: run("ready") });
  wears("name", forWearer(ready, { wearer: "Ilse Brandvold", name_said: "" }));
  wears("name-unsent", forWearer(ready, { wearer: "Ilse Brandvold", name_said: "" }), { unsent: true });
  wears("tell", forWearer(ready, { name_said: "no" }));
  for (const name of ["no-run", "ready", "screening", "clearing", "donning", "dosing", "proving", "pass", "proving-mist", "due-practice"]) wears(name, forWearer(states[name]));
  wears("lost", null);
  for (let e = 0; e < 7; e++) wears(`exercise-${e + 1}`, forWearer(snapshot({ run: running(10, e * 60_000 + 23_000, 0) })));
  wears("breathing-out", forWearer(snapshot({ run: running(10, 60_000 + 17_000, 0) })));
  wears("talking-other", forWearer(snapshot({ run: running(10, 240_000 + 47_000, 0, { run: "r-20260914-08" }) })));
  const names = { wearer: "", tester: "", code: "" };
  const masked = (/** @type {string} */ name) => {
    const of = states[name] ?? snapshot({});
    return { ...of, run: of.run && { ...of.run, ...names } };
  };
  const parked = [run("donning", { ...names, run: "r-2", wait_ms: 130_000, need_ms: 300_000 }), run("clearing", { ...names, run: "r-3", stage_ms: 64_000 })];
  /** @typedef {import("./state-gallery.js").Board} Board */
  const own = (/** @type {Snapshot|null} */ snap, ageMs = 100) => /** @type {Board} */ ({ name: "", own: true, state: "live", snap, ageMs });
  /** @type {Board[]} */
  const others = [
    { name: "Bench B", own: false, state: "live", snap: { ...masked("soon"), practice: "simulated board" }, ageMs: 200 },
    { name: "Bench C", own: false, state: "live", snap: { ...masked("fail"), parked }, ageMs: 100 },
    { name: "Bench D", own: false, state: "lost", snap: masked("waiting"), ageMs: 74_000 },
    { name: "Bench E", own: false, state: "refused", snap: null, ageMs: 0 },
  ];
  /** @param {string} name @param {Board[]} all @param {Partial<import("./view-gallery.js").Ui>} [over] */
  const shows = (name, all, over = {}) => {
    const list = all.flatMap((b) => (b.snap ? remarksOf(b.name, null, b.snap) : [])).reverse();
    out[`gallery-${name}`] = () => gallery(all, list, { size: size(), problem: "", presenting: false, chosen: 0, ...over }, { present() {}, choose() {} });
  };
  for (const name of ["no-run", "due", "due-practice", "not-valid", "pass"]) shows(name, [own(masked(name))]);
  shows("parked", [own({ ...masked("due"), parked })]);
  shows("many", [own(masked("due")), ...others]);
  shows("stale", [own(masked("due"), 4200)]);
  shows("loading", [own(null)]);
  for (const name of ["no-run", "ready", "screening", "clearing", "donning", "dosing", "due", "due-thirty", "waiting", "last", "proving", "pass", "fail", "not-valid", "cannot-taste", "due-practice"]) shows(`present-${name}`, [own(masked(name))], { presenting: true });
  shows("present-talking", [own(snapshot({ run: running(10, 230_500, 0, { ...names, top_ups: running(10, 239_000, 5).top_ups.map((d) => (d.n === 7 ? { ...d, given: 5 } : d)) }) }))], { presenting: true });
  shows("present-dead", [own(masked("due")), ...others], { presenting: true, chosen: 3 });
  return out;
}

const place = root();
drawing(screens, place);
showing(["run", "wearer", "passages", "gallery"], screens(), place);
