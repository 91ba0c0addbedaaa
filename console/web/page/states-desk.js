// SPDX-License-Identifier: Apache-2.0

// Every state of Records, a record, Insight and Settings from samples: a
// reference to look at. ?only=NAME shows one alone.

import { html, render } from "./vendor/lit-html.js";
import { chartOf } from "./chart.js";
import { readFigures } from "./desk.js";
import { speak } from "./lang.js";
import * as s from "./samples-desk.js";
import { record as practiceRecord } from "./samples.js";
import { getJSON, root, size } from "./screen.js";
import { blank } from "./sign.js";
import { chosen } from "./state-record.js";
import { showing } from "./states-show.js";
import { insight } from "./view-insight.js";
import { record, records } from "./view-records.js";
import { settings } from "./view-settings.js";

await speak(["run", "office", "desk"]);

const idle = { setBy() {}, settle() {}, takeBack() {}, undo() {} };
const act = {
  ...idle, want() {}, days() {}, type() {}, choose() {}, older() {}, save() {}, mode() {}, amend() {}, pen() {}, wipe() {}, sign() {}, prove() {}, copy() {}, card() {}, sort() {}, beside() {},
  period() {}, names() {}, look() {}, drop() {}, where() {}, see() {}, back() {}, restore() {},
};
/** @param {Partial<import("./office.js").Office>} [over] @returns {import("./office.js").Office} */
const o = (over = {}) => ({ by: "Oda Fennimore", byMissing: false, problem: "", said: "", undo: null, pending: null, busy: "", done: "", working: false, practice: "", ...over });

/** @param {import("./desk.js").Figures} figures @returns {Record<string, () => unknown>} */
function screens(figures) {
  /** @param {Partial<import("./view-records.js").ListUi>} over @param {Partial<import("./office.js").Office>} [office] */
  const list = (over, office) => () => records(o(office), { rows: s.rows, looked: 7, oldest: "2026-09-11", more: true, reading: false, whole: true, wanted: "all", from: "", to: "", query: "", matches: null, person: null, goesOn: false, facepieces: [{ id: "brindle-m", label: "Brindle Corrie, medium" }, { id: "oxley-l", label: "Oxley Gill, large" }], facepiece: "", tester: "", ...over }, act);
  /** @param {Partial<import("./view-records.js").RecordUi>} over @param {Partial<import("./office.js").Office>} [office] */
  const one = (over, office) => () => record(o(office), { size: size(), full: s.full(), run: s.row({}), kit: {}, open: false, mode: "look", drawing: blank(), typed: "", letters: [], claim: null, picture: "", code: "", beside: null, ...over }, act);
  /** @param {Partial<import("./view-insight.js").Ui>} over @param {Partial<import("./office.js").Office>} [office] */
  const says = (over, office) => () => insight(o(office), { narrow: size() === "narrow", figures, drawings: new Map(figures.charts.map((c) => [c.id, chartOf(c.svg)])), period: "all", from: "", to: "", names: "hidden", letters: [], ...over }, act);
  /** @param {Partial<import("./view-settings.js").Ui>} over @param {Partial<import("./office.js").Office>} [office] */
  const house = (over, office) => () => settings(o(office), {
    policy: s.policy, rules: "uk-hse", choices: s.choices, head: s.head, noHead: "", retention: null, typed: "", made: null, last: { at: "2026-09-11T16:40:00+02:00", where: "/media/stick", bytes: 48_211_968 }, where: "download", mismatch: "", visible: false,
    empty: false, restored: null, version: "0.4.0", backups: s.backups, restores: [], ...over,
  }, act);
  const bare = { ...practiceRecord("simulated board"), run: "r000409" };
  return {
    records: list({}), "records-recalled": list({ rows: chosen(s.rows, "recalled"), wanted: "recalled" }), "records-none": list({ rows: [], wanted: "fail", more: false }), "records-empty": list({ rows: [], more: false, looked: 0 }),
    "records-found": list({ query: "bra", matches: [{ id: "p-1", called: "Ilse Brandvold", more: "H-0412, stone saw" }, { id: "p-2", called: "Brannoch Ilesanmi", more: "H-0090" }] }), "records-nobody": list({ query: "zeb", matches: [] }),
    "records-person": list({ rows: s.rows.slice(0, 1), person: { id: "p-1", called: "Ilse Brandvold" }, more: false }), "records-plain": list({ whole: false, more: false }), "records-loading": list({ rows: null, more: false }),
    "records-slow": list({ reading: true }, { busy: "The box is writing the file", working: true }), "records-failed": list({ rows: null, more: false }, { problem: "The box did not answer. Look whether it happened before you try again." }),
    "records-goes-on": list({ rows: s.rows.slice(1, 2), wanted: "fail", tester: "Oda Fennimore", goesOn: true, reading: true }),
    "record-beside": one({ beside: s.rows.slice(1, 4) }), "record-alone": one({ beside: [] }),
    record: one({}), "record-practice": one({ full: bare, run: s.row({ practice: true }) }), "record-fail": one({ full: s.failed(), run: s.row({ run: "r000411", outcome: "fail", first: "fail", reason: "tasted" }) }),
    "record-recalled": one({ run: s.row({ outcome: "not_valid", first: "pass", recalled: "nebuliser found clogged", recall: { at: "2026-09-14T17:20:00+02:00", quality: "confirmed", by: "Agnes Thorley" } }), full: s.full({ hood: { id: "hood-2", mark: "H2", across_mm: 400, tall_mm: 450, oversized: true } }) }), "record-amended": one({ run: s.amended, full: s.full({ whose: "own piece" }) }),
    "record-sign": one({ mode: "wearer", drawing: s.drawing }), "record-sign-typed": one({ mode: "tester", typed: "O", letters: [[[0.45, 0.3], [0.55, 0.3], [0.55, 0.7], [0.45, 0.7], [0.45, 0.3]], [[0.47, 0.38], [0.53, 0.38], [0.53, 0.62], [0.47, 0.62], [0.47, 0.38]]] }), "record-amend": one({ mode: "amend" }),
    "record-changed": one({ mode: "tester", drawing: s.drawing }, { problem: "The record has changed since it was shown, so nothing was signed. It stands here anew: read it again, then sign." }),
    "record-proof": one({ claim: s.claim, code: s.code }), "record-no-date": one({ full: s.full({ wall_quality: "restored", kit: null, wiring_checked: "", sound_ms: 0 }) }), "record-plain": one({ full: practiceRecord(""), run: null }), "record-open": one({ full: null, open: true }),
    "record-loading": one({ full: null }), "record-missing": one({ full: null }, { problem: "That is not on this box. There is no run of that name." }), "record-unnamed": one({}, { by: "", byMissing: true }),
    insight: says({}), "insight-own": says({ period: "own", from: "2026-08-24", to: "2026-09-14" }), "insight-none": says({ figures: { ...figures, counts: { tests: 0, pass: 0, fail: 0, not_valid: 0, cannot_taste: 0 }, charts: [] }, period: "quarter" }),
    "insight-warned": says({ names: "warned" }), "insight-names": says({ names: "shown", letters: s.letters }), "insight-refused": says({ drawings: new Map(figures.charts.map((c) => [c.id, chartOf(s.hostile[0] ?? "")])) }),
    "insight-loading": says({ figures: null }), "insight-slow": says({}, { busy: "Counting the tests", working: true }),
    settings: house({}), "settings-us": house({ rules: "us-osha", policy: { ...s.policy, rules: "us-osha", retest_months: 12 } }), "settings-first": house({ empty: true, last: null, policy: { rules: "", retest_months: 0, keep_months: 0, site: "", hoods: 0 }, rules: "" }),
    "settings-restored": house({ restored: { entries: 51_204, runs: 812, erased: 2, recalled: 0, later: "unknown", restart: true } }), "settings-looser": house({}, { problem: "The house may ask for more than the rules, never for less: UK guidance asks for records to be kept 60 months at least." }),
    "settings-kept": house({}, { said: "The rules of the house are kept.", undo: { text: "The rules of the house are kept.", take: "rules of the house" } }), "settings-mismatch": house({ mismatch: "The two are not the same. Type them again.", visible: true }),
    "settings-folder": house({ where: "folder", made: { file: "/media/stick/tallyhood-harrowgate-1-a.age", bytes: 48_211_968, proven: true } }), "settings-backing": house({}, { busy: "Writing the backup, and proving it by a restore", done: "1 of 3", seconds: 14, working: true }), "settings-brought": house({ restores: s.restores }),
    "settings-may-go": house({ retention: s.retention, typed: "2" }), "settings-nothing-goes": house({ retention: { months: 0, count: 0, runs: [], people: [], more: false } }), "settings-loading": house({ policy: null, head: null }),
    "settings-no-backup": house({ backups: [], last: null }), "settings-backups-unread": house({ backups: null }),
    "settings-no-key": house({ head: null, noHead: "This box does not do that: the part for it is not there." }),
  };
}

const only = new URLSearchParams(location.search).get("only");
const place = root();
const all = screens(readFigures(await getJSON("/page/samples-insight.json")));
const one = only === null ? undefined : all[only];
document.body.classList.toggle("practising", only === "record-practice");
render(one ? one() : html`<div class="sheet plain states"><h1>Every state</h1><ul>${Object.keys(all).map((name) => html`<li><a href=${`?only=${name}`}>${name}</a></li>`)}</ul></div>`, place);
// For tests: what the page makes of a text that should be a chart.
Object.assign(globalThis, { chartOf, hostile: s.hostile });
showing(["run", "office", "desk"], all, place);
