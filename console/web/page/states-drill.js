// SPDX-License-Identifier: Apache-2.0

// Every state of the Drill page from samples: a reference to look at.
// ?only=NAME shows one alone.

import { html, render } from "./vendor/lit-html.js";
import { speak } from "./lang.js";
import * as s from "./samples-drill.js";
import { root } from "./screen.js";
import { showing } from "./states-show.js";
import { drill } from "./view-drill.js";

await speak(["run", "office", "desk", "drill"]);

const act = { setBy() {}, settle() {}, takeBack() {}, undo() {}, form() {}, open() {}, takeOver() {}, whose() {}, print() {}, again() {}, judge() {} };
/** @param {Partial<import("./office.js").Office>} [over] @returns {import("./office.js").Office} */
const o = (over = {}) => ({ by: "Agnes Thorley", byMissing: false, problem: "", said: "", undo: null, pending: null, busy: "", done: "", working: false, practice: "", ...over });
const choices = { people: [], facepieces: [{ id: "c", label: "Fellside Corrie, medium" }], rules: [{ id: "us-osha", label: "US rule: 29 CFR 1910.134, Appendix A" }], agents: ["sweet", "bitter"], testers: [], hoods: [] };
/** @type {import("./view-drill.js").Ui} */
const ui = {
  offer: s.offer, choices, form: { trainee: "Bram Okafor", level: "easy", wrong: "surprise", troubles: [], facepiece: "", rules: "us-osha", agent: "bitter", seed: "" },
  link: "ready", said: "", list: s.list, whose: "", agreements: s.agreements, run: "", page: null,
};

/** @returns {Record<string, () => unknown>} */
export function screens() {
  /** @param {Partial<import("./view-drill.js").Ui>} over @param {Partial<import("./office.js").Office>} [office] */
  const one = (over, office) => () => drill(o(office), { ...ui, ...over }, act);
  /** @param {string} name @param {import("./state-drill.js").Judged[]} [judged] */
  const sheet = (name, judged = []) => one({ run: "r000412", page: { sheet: s.sheets[name] ?? s.sheet, judged } });
  return {
    list: one({}), empty: one({ list: { drills: [], trainees: [], more: false }, agreements: [] }), own: one({ form: { ...ui.form, wrong: "own", troubles: ["dizzy", "no_mist"] } }), unnamed: one({ form: { ...ui.form, trainee: "" } }),
    "run-open": one({ link: "run" }), driven: one({ link: "driven" }), loading: one({ offer: null, list: null, agreements: null, link: "waiting" }), failed: one({ list: null, agreements: null }, { problem: "The box did not answer." }),
    full: sheet("full"), tasted: sheet("tasted", [{ trainer: "Agnes Thorley", outcome: "fail", acts: [{ n: 1, acts: true }], note: "heard it at once", wall: "" }]), "false-pass": sheet("false-pass"), "given-up": sheet("given-up"), open: sheet("open"),
    "sheet-loading": one({ run: "r000412", page: null }),
  };
}

const place = root();
const only = new URLSearchParams(location.search).get("only");
const all = screens();
const one = only === null ? undefined : all[only];
render(one ? one() : html`<main class="sheet plain states"><h1>Every state of the Drill page</h1><ul>${Object.keys(all).map((name) => html`<li><a class="to" href=${`?only=${name}`}>${name}</a></li>`)}</ul></main>`, place);
showing(["run", "office", "desk", "drill"], all, place);
