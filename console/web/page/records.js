// SPDX-License-Identifier: Apache-2.0

// Joins the list of records.

import { render } from "./vendor/lit-html.js";
import { ApiError } from "./api.js";
import { desk as deskApi, told } from "./desk.js";
import { speak, t } from "./lang.js";
import { office } from "./office.js";
import { saveFile } from "./save.js";
import { getJSON, root } from "./screen.js";
import { called, modelOf, newest } from "./state-office.js";
import { arriving, chosen, rowOf } from "./state-record.js";
import { records } from "./view-records.js";

await speak(["run", "office", "desk"]);

/** How long after the last key the search is asked for. */
const pauseMs = 150;
/** How many are looked for at once, and in how many parts at most before somebody says "further". */
const enough = 50;
const mostParts = 40;

const place = root("run.nav.records");
const desk = office(() => draw());
const { o } = desk;
const api = deskApi((url, init) => fetch(url, init));

/** @type {import("./view-records.js").ListUi} */
const ui = { rows: null, looked: 0, oldest: "", more: false, reading: false, whole: true, wanted: "all", from: "", to: "", query: "", matches: null, person: null, goesOn: false, facepieces: [], facepiece: "", tester: "" };
/** @type {import("./state-record.js").Row[]} */
let read = []; // all that were read, newest first
let next = "";
const reading = newest();
const searching = newest();
/** @type {ReturnType<typeof setTimeout>|undefined} */
let pause;

function draw() {
  render(records(o, ui, act), place);
}

function show() {
  ui.rows = chosen(read, ui.wanted, ui.to);
  Object.assign(ui, { looked: read.length, oldest: read.at(-1)?.at.slice(0, 10) ?? "", more: next !== "" });
}

/** What the box sorts out. @returns {import("./desk.js").Filter} */
function filter() {
  const kind = ui.wanted === "all" ? "" : ui.wanted === "recalled" || ui.wanted === "practice" ? ui.wanted : "tests";
  return { from: ui.from, to: ui.to, person: ui.person?.id ?? "", facepiece: ui.facepiece, tester: ui.tester, outcome: kind === "tests" ? ui.wanted : "", only: kind };
}

/** Reads on until there are enough of those that are asked for. @param {boolean} anew */
async function go(anew) {
  const fresh = reading();
  Object.assign(ui, { reading: true, goesOn: false });
  await desk.run(t("desk.records.reading_now"), async () => {
    Object.assign(o, { problem: "", said: "" });
    if (anew) next = "";
    let all = anew ? [] : read;
    const had = chosen(all, ui.wanted, ui.to).length;
    for (let part = 0; part < mostParts; part++) {
      const got = await told(() => api.runs(filter(), next, ui.wanted === "all" ? enough : 4 * enough));
      if (!fresh()) return;
      all = [...all, ...got.runs];
      next = got.next;
      read = all;
      show();
      if (next === "" || chosen(all, ui.wanted, ui.to).length - had >= enough) break;
      ui.goesOn = true;
      draw();
    }
  });
  if (fresh()) Object.assign(ui, { reading: false, goesOn: false });
  draw();
}

/** @type {import("./view-records.js").ListActs} */
const act = {
  setBy: desk.setBy, settle: desk.settle, takeBack: desk.takeBack, undo: desk.undo,
  want(w) {
    ui.wanted = w;
    show();
    draw();
    void go(true);
  },
  sort(facepiece, tester) {
    Object.assign(ui, { facepiece, tester: tester.trim() });
    void go(true);
  },
  days(from, to) {
    Object.assign(ui, { from, to });
    void go(true);
  },
  type(text) {
    ui.query = text;
    clearTimeout(pause);
    pause = setTimeout(() => void find(), pauseMs);
  },
  choose(p) {
    Object.assign(ui, { person: p, matches: null, query: "" });
    void go(true);
  },
  older: () => void go(false),
  save(path) {
    void desk.run(t("desk.writing_file"), async () => {
      Object.assign(o, { problem: "", said: "" });
      const f = await told(() => api.file(path, null, arriving(o, draw)));
      saveFile(f.blob, f.name);
      o.said = t("desk.saved", { name: f.name });
    });
  },
};

async function find() {
  const fresh = searching();
  const query = ui.query.trim();
  if (query === "") {
    ui.matches = null;
    draw();
    return;
  }
  await desk.run(t("desk.records.searching"), async () => {
    const got = await desk.box.people(query, "", 8);
    if (fresh()) ui.matches = got.people.map((p) => ({ id: p.id, called: called(p), more: [p.name ? p.number : "", p.job].filter(Boolean).join(", ") }));
  });
}

draw();
void desk.run(t("desk.records.reading_now"), async () => {
  try {
    const got = await api.runs({}, "", enough);
    read = got.runs;
    next = got.next;
    // Without them the list is there all the same.
    ui.facepieces = await desk.box.facepieces().then((all) => all.map((f) => ({ id: f.id, label: modelOf(f) })), () => []);
  } catch (err) {
    if (!(err instanceof ApiError) || err.status !== 404) throw err;
    // The job around the runs is not served here; the runs are.
    const lines = await getJSON("/api/records");
    ui.whole = false;
    read = (Array.isArray(lines) ? lines : []).map(rowOf);
  }
  show();
});
