// SPDX-License-Identifier: Apache-2.0

// Joins the pages of people: the list at /people, a new one at /people/new, a
// list from a file at /people/import, and one person at /people/ID.

import { render } from "./vendor/lit-html.js";
import { empty, formOf } from "./api.js";
import { office } from "./office.js";
import { getJSON, root } from "./screen.js";
import { addDays, called, newest } from "./state-office.js";
import { importing } from "./view-import.js";
import { people } from "./view-people.js";
import { changedFields, person } from "./view-person.js";
import { triggers } from "./words-office.js";

/** How long after the last key the search is asked for. */
const pauseMs = 150;
const page = 30;
const most = 200;
const dueDays = 30;

const place = root();
const desk = office(() => draw());
const { o, box } = desk;
const common = { setBy: desk.setBy, settle: desk.settle, takeBack: desk.takeBack, undo: desk.undo };
const path = location.pathname.replace(/^\/people\/?/, "");
/** @type {() => void} */
let draw = () => {};

/** @type {{facepieces: import("./api.js").Facepiece[], rules: {id: string, label: string}[]}} */
const house = { facepieces: [], rules: [] };
async function readHouse() {
  const [f, c] = await Promise.all([box.facepieces(), getJSON("/api/choices")]);
  house.facepieces = f;
  const rules = /** @type {any} */ (c)?.rules;
  if (Array.isArray(rules)) house.rules = rules.map((r) => ({ id: String(r.id), label: String(r.label).split(":")[0] ?? "" }));
}

function list() {
  /** @type {import("./view-people.js").Ui} */
  const ui = { query: "", people: null, more: "none", searching: false, due: null, nobody: null, facepieces: [], today: desk.today() };
  const question = newest();
  /** @type {ReturnType<typeof setTimeout>|undefined} */
  let pause;
  /** @type {AbortController|undefined} */
  let asking;

  let limit = page;
  async function ask() {
    const fresh = question();
    asking?.abort();
    asking = new AbortController();
    ui.searching = true;
    draw();
    const { signal } = asking;
    await desk.run("Searching", async () => {
      try {
        const got = await box.people(ui.query.trim(), "", limit, signal);
        if (!fresh()) return;
        o.problem = "";
        ui.people = got.people;
        ui.more = got.people.length < limit ? "none" : limit < most ? "some" : "many";
      } catch (err) {
        if (fresh()) throw err;
      } finally {
        if (fresh()) ui.searching = false;
      }
    });
  }

  const act = {
    ...common,
    search(/** @type {string} */ query) {
      ui.query = query;
      limit = page;
      clearTimeout(pause);
      if (query.trim() === "") {
        question();
        asking?.abort();
        Object.assign(ui, { people: null, more: "none", searching: false });
      } else pause = setTimeout(() => void ask(), pauseMs);
      history.replaceState(null, "", query.trim() === "" ? "/people" : `/people?find=${encodeURIComponent(query.trim())}`);
      draw();
    },
    more() {
      limit = most;
      void ask();
    },
  };
  draw = () => {
    ui.today = desk.today();
    ui.facepieces = house.facepieces;
    render(people(o, ui, act), place);
  };
  const first = new URLSearchParams(location.search).get("find");
  if (first) {
    ui.query = first;
    void ask();
  }
  void desk.run("Reading who is due", async () => {
    const [, due, some] = await Promise.all([readHouse(), box.due(addDays(desk.today(), dueDays), page), box.people("", "", 1)]);
    ui.due = due;
    ui.nobody = due.length === 0 && some.people.length === 0;
  });
  draw();
  document.getElementById("find")?.focus();
  addEventListener("keydown", (e) => {
    if (e.key !== "/" || e.ctrlKey || e.metaKey || e.target instanceof HTMLInputElement) return;
    e.preventDefault();
    document.getElementById("find")?.focus();
  });
}

/** @param {string} id empty: a new one */
function one(id) {
  /** @type {import("./view-person.js").Ui} */
  const ui = { person: null, runs: [], mode: id === "" ? "new" : "look", name: new URLSearchParams(location.search).get("name") ?? "", typed: "", facepieces: [], rules: [], today: desk.today() };
  async function read() {
    if (id !== "") ({ person: ui.person, runs: ui.runs } = await box.person(id));
  }
  const look = () => {
    ui.mode = "look";
    draw();
    desk.top();
  };
  /** @type {import("./view-person.js").Acts} */
  const act = {
    ...common,
    mode(mode) {
      if (mode !== "look" && !desk.named()) return;
      ui.typed = "";
      ui.mode = mode;
      if (mode === "look") desk.clear();
      draw();
      if (mode === "clear") document.querySelector("input[name=on]")?.scrollIntoView({ block: "center" });
      else desk.top();
    },
    async save(form) {
      if (id === "") {
        let made = "";
        await desk.change("Entering the person", async () => {
          made = await box.addPerson(form, o.by);
        }, "");
        if (made) location.assign(`/people/${encodeURIComponent(made)}`);
        return;
      }
      const was = ui.person;
      if (!was) return;
      const before = formOf(empty.person, was);
      const fields = changedFields(before, form);
      if (fields.length === 0) {
        look();
        return;
      }
      const done = await desk.change("Saving the entry", async () => {
        await box.savePerson(id, form, o.by);
        await read();
      }, `Saved: ${fields.join(", ")}.`, {
        take: `${fields.join(", ")} of ${called(was)}`,
        work: async () => {
          await box.savePerson(id, before, o.by);
          await read();
        },
      });
      if (done) look();
    },
    trigger(key) {
      const t = triggers.find((x) => x.key === key);
      if (!t || !ui.person) return;
      const on = desk.today();
      void desk.soon(`${called(ui.person)}: ${t.noted}, ${on}. Every test is due now.`, t.name.toLowerCase(), () => box.trigger(id, key, on, o.by), () => desk.run("Reading", read));
    },
    async clear(on, who) {
      if (await desk.change("Noting the clearance", async () => {
        await box.clear(id, { on, who }, o.by);
        await read();
      }, `Noted: cleared on ${on} by ${who}.`)) look();
    },
    left(on) {
      if (!ui.person) return;
      void desk.soon(`${called(ui.person)} has left, ${on}. No test is due any more.`, "has left", () => box.left(id, on, o.by), () => desk.run("Reading", read));
    },
    type(text) {
      ui.typed = text;
      draw();
    },
    async erase(reason) {
      if (await desk.change("Erasing, and writing the file anew", () => box.erase(id, reason, o.by), "")) {
        Object.assign(ui, { person: null, runs: [], mode: "gone", typed: "" });
        document.title = "Erased · tallyhood";
        draw();
      }
    },
  };
  draw = () => {
    Object.assign(ui, { today: desk.today(), facepieces: house.facepieces, rules: house.rules });
    render(person(o, ui, act), place);
    if (ui.person) document.title = `${called(ui.person)} · tallyhood`;
  };
  draw();
  void desk.run("Reading", async () => {
    await Promise.all([readHouse(), read()]);
  });
}

function bring() {
  /** @type {File|null} */
  let file = null;
  /** @type {Record<string, string>} */
  let how = {};
  /** @type {import("./view-import.js").Ui} */
  const ui = { file: "", preview: null, mapping: {}, trial: null, done: null };
  const read = (/** @type {boolean} */ anew) => desk.run("Reading the file", async () => {
    if (!file) return;
    o.problem = "";
    const p = await box.preview(file, how);
    const same = !anew && ui.preview?.columns.join("\n") === p.columns.join("\n");
    Object.assign(ui, { preview: p, trial: null, mapping: same ? ui.mapping : { ...p.guess } });
  });
  /** @param {boolean} dry */
  async function send(dry) {
    const p = ui.preview;
    if (!p || !desk.named()) return;
    desk.clear();
    await desk.run(dry ? "Trying it, row by row" : "Taking the list in", async () => {
      const r = await box.import({ token: p.token, encoding: p.encoding, delimiter: p.delimiter, sheet: p.sheet, mapping: ui.mapping, dry_run: dry, by: o.by });
      if (dry) ui.trial = r;
      else ui.done = r;
    });
  }
  /** @type {import("./view-import.js").Acts} */
  const act = {
    ...common,
    choose(f) {
      file = f;
      how = {};
      ui.file = f.name;
      void read(true);
    },
    reread(change) {
      how = { ...how, ...change };
      void read(false);
    },
    map(field, column) {
      const rest = Object.entries(ui.mapping).filter(([f, c]) => f !== field && c !== column);
      ui.mapping = Object.fromEntries(field === "" ? rest : [...rest, [field, column]]);
      ui.trial = null;
      draw();
    },
    tryIt: () => void send(true),
    doIt: () => void send(false),
    again() {
      file = null;
      Object.assign(ui, { file: "", preview: null, mapping: {}, trial: null, done: null });
      desk.clear();
      draw();
    },
  };
  draw = () => render(importing(o, ui, act), place);
  draw();
}

if (path === "") list();
else if (path === "import") bring();
else one(path === "new" ? "" : decodeURIComponent(path));

