// SPDX-License-Identifier: Apache-2.0

// Joins the list of records.

import { render } from "./vendor/lit-html.js";
import { ApiError } from "./api.js";
import { desk as deskApi, readRow, told } from "./desk.js";
import { office } from "./office.js";
import { saveFile } from "./save.js";
import { getJSON, root } from "./screen.js";
import { called, newest } from "./state-office.js";
import { chosen, rowOf } from "./state-record.js";
import { records } from "./view-records.js";

/** How long after the last key the search is asked for. */
const pauseMs = 150;
/** How many of a kind are looked for at once, and in how many parts at most. */
const enough = 50;
const mostParts = 10;

const place = root();
const desk = office(() => draw());
const { o } = desk;
const api = deskApi((url, init) => fetch(url, init));

/** @type {import("./view-records.js").ListUi} */
const ui = { rows: null, looked: 0, oldest: "", more: false, reading: false, whole: true, wanted: "all", from: "", to: "", query: "", matches: null, person: null };
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

/** Reads on until there are enough of those that are asked for. @param {boolean} anew */
async function go(anew) {
  const fresh = reading();
  ui.reading = true;
  await desk.run("Reading the records", async () => {
    Object.assign(o, { problem: "", said: "" });
    const { person } = ui;
    if (anew && person) {
      const got = (await desk.box.person(person.id)).runs;
      if (!fresh()) return;
      read = got.map((r) => ({ ...readRow(r), name: person.called })).sort((a, b) => b.at.localeCompare(a.at)).filter((r) => ui.from === "" || r.at.slice(0, 10) >= ui.from);
      next = "";
      show();
      return;
    }
    if (anew) next = "";
    let all = anew ? [] : read;
    const had = chosen(all, ui.wanted, ui.to).length;
    for (let part = 0; part < mostParts; part++) {
      const got = await told(() => api.runs(ui.from, next, ui.wanted === "all" && ui.to === "" ? enough : 4 * enough));
      if (!fresh()) return;
      all = [...all, ...got.runs];
      next = got.next;
      read = all;
      show();
      if (next === "" || chosen(all, ui.wanted, ui.to).length - had >= enough) break;
      draw();
    }
  });
  if (fresh()) ui.reading = false;
  draw();
}

/** @type {import("./view-records.js").ListActs} */
const act = {
  setBy: desk.setBy, settle: desk.settle, takeBack: desk.takeBack, undo: desk.undo,
  want(w) {
    ui.wanted = w;
    show();
    draw();
    if (next !== "" && (ui.rows?.length ?? 0) < enough) void go(false);
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
    void desk.run("The box is writing the file", async () => {
      Object.assign(o, { problem: "", said: "" });
      const f = await told(() => api.file(path));
      saveFile(f.blob, f.name);
      o.said = `Saved: ${f.name}.`;
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
  await desk.run("Searching", async () => {
    const got = await desk.box.people(query, "", 8);
    if (fresh()) ui.matches = got.people.map((p) => ({ id: p.id, called: called(p), more: [p.name ? p.number : "", p.job].filter(Boolean).join(", ") }));
  });
}

draw();
void desk.run("Reading the records", async () => {
  try {
    const got = await api.runs("", "", enough);
    read = got.runs;
    next = got.next;
  } catch (err) {
    if (!(err instanceof ApiError) || err.status !== 404) throw err;
    // The job around the runs is not served here; the runs are.
    const lines = await getJSON("/api/records");
    ui.whole = false;
    read = (Array.isArray(lines) ? lines : []).map(rowOf);
  }
  show();
});
