// SPDX-License-Identifier: Apache-2.0

// Joins the pages of people: the list at /people, a new one at /people/new, a
// list from a file at /people/import, and one person at /people/ID.

import { render } from "./vendor/lit-html.js";
import { empty, formOf } from "./api.js";
import { dayIn, speak, t } from "./lang.js";
import { office } from "./office.js";
import { getJSON, root, titled } from "./screen.js";
import { addDays, called, newest } from "./state-office.js";
import { importing } from "./view-import.js";
import { people } from "./view-people.js";
import { changedFields, person } from "./view-person.js";
import { triggers } from "./words-office.js";

await speak(["run", "office"]);

/** How long after the last key the search is asked for. */
const pauseMs = 150;
const page = 30;
const dueDays = 30;

const place = root("run.nav.people");
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
  const ui = { query: "", people: null, more: false, searching: false, due: null, bare: [], bareMore: false, nobody: null, facepieces: [], today: desk.today() };
  const question = newest();
  /** @type {ReturnType<typeof setTimeout>|undefined} */
  let pause;
  /** @type {AbortController|undefined} */
  let asking;

  let next = "";
  /** @param {boolean} further those that follow, too */
  async function ask(further) {
    const fresh = question();
    asking?.abort();
    asking = new AbortController();
    ui.searching = true;
    draw();
    const { signal } = asking;
    await desk.run(t("office.people.searching"), async () => {
      try {
        const got = await box.people(ui.query.trim(), further ? next : "", page, signal);
        if (!fresh()) return;
        o.problem = "";
        ui.people = further ? [...(ui.people ?? []), ...got.people] : got.people;
        next = got.next;
        ui.more = next !== "";
      } catch (err) {
        if (fresh()) throw err;
      } finally {
        if (fresh()) ui.searching = false;
      }
    });
  }

  /** Who needs no facepiece yet comes in no list of due dates. */
  async function readBare() {
    /** @type {import("./api.js").Person[]} */
    const all = [];
    let after = "";
    do {
      const got = await box.people("", after, page, undefined, "facepiece");
      all.push(...got.people);
      after = got.next;
    } while (after !== "" && all.length < page);
    Object.assign(ui, { bare: all, bareMore: after !== "" });
  }

  const act = {
    ...common,
    search(/** @type {string} */ query) {
      ui.query = query;
      clearTimeout(pause);
      if (query.trim() === "") {
        question();
        asking?.abort();
        Object.assign(ui, { people: null, more: false, searching: false });
      } else pause = setTimeout(() => void ask(false), pauseMs);
      history.replaceState(null, "", query.trim() === "" ? "/people" : `/people?find=${encodeURIComponent(query.trim())}`);
      draw();
    },
    more: () => void ask(true),
  };
  draw = () => {
    ui.today = desk.today();
    ui.facepieces = house.facepieces;
    render(people(o, ui, act), place);
  };
  const first = new URLSearchParams(location.search).get("find");
  if (first) {
    ui.query = first;
    void ask(false);
  }
  void desk.run(t("office.people.reading_who"), async () => {
    const [, due, some] = await Promise.all([readHouse(), box.due(addDays(desk.today(), dueDays), page), box.people("", "", 1)]);
    ui.due = due;
    ui.nobody = due.length === 0 && some.people.length === 0;
    await readBare();
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
  const ui = { person: null, runs: [], mode: id === "" ? "new" : "look", name: new URLSearchParams(location.search).get("name") ?? "", typed: "", facepieces: [], rules: [], today: desk.today(), on: desk.today(), listed: null };
  async function read() {
    if (id !== "") ({ person: ui.person, runs: ui.runs } = await box.person(id));
  }
  const asked = newest();
  /** Whether the person stands on the list of the day that is chosen. */
  async function readList() {
    if (id === "" || ui.person?.left) return;
    const fresh = asked();
    ui.listed = null;
    const d = await box.day(ui.on);
    if (fresh()) ui.listed = d.expected.some((e) => e.person === id && e.listed);
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
        await desk.change(t("office.person.entering"), async () => {
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
      const done = await desk.change(t("office.person.saving"), async () => {
        await box.savePerson(id, form, o.by);
        await read();
      }, t("office.saved", { what: fields.join(", ") }), {
        take: t("office.of", { what: fields.join(", "), name: called(was) }),
        work: async () => {
          await box.savePerson(id, before, o.by);
          await read();
        },
      });
      if (done) look();
    },
    trigger(key) {
      const what = triggers.find((x) => x.key === key);
      if (!what || !ui.person) return;
      const on = desk.today();
      void desk.soon(t("office.person.now_due", { name: called(ui.person), what: what.noted, day: dayIn(on) }), what.name, () => box.trigger(id, key, on, o.by), () => desk.run(t("office.reading"), read));
    },
    async clear(on, who) {
      if (await desk.change(t("office.person.noting_clearance"), async () => {
        await box.clear(id, { on, who }, o.by);
        await read();
      }, t("office.person.cleared_noted", { day: dayIn(on), who }))) look();
    },
    left(on) {
      if (!ui.person) return;
      void desk.soon(t("office.person.left_noted", { name: called(ui.person), day: dayIn(on) }), t("office.person.left_take"), () => box.left(id, on, o.by), () => desk.run(t("office.reading"), read));
    },
    back() {
      const was = ui.person;
      if (!was) return;
      const put = (/** @type {() => Promise<unknown>} */ work) => async () => {
        await work();
        await read();
        await readList();
      };
      void desk.change(t("office.person.bringing_back"), put(() => box.back(id, o.by)), t("office.person.is_back", { name: called(was) }), {
        word: t("office.person.undo_back", { name: called(was), day: dayIn(was.left) }), work: put(() => box.left(id, was.left, o.by)),
      });
    },
    onDay(on) {
      if (on === "") return;
      ui.on = on;
      void desk.run(t("office.person.reading_list"), readList);
    },
    list(off) {
      const was = ui.person;
      if (!was) return;
      const { on } = ui;
      const says = { name: called(was), day: dayIn(on) };
      const put = (/** @type {boolean} */ off) => async () => {
        await box.listed(id, on, 0, off, o.by);
        await readList();
      };
      void desk.change(t("office.listed.changing"), put(off), t(off ? "office.listed.now_off" : "office.listed.now_on", says), { word: t(off ? "office.listed.undo_off" : "office.listed.undo_on", says), work: put(!off) });
    },
    type(text) {
      ui.typed = text;
      draw();
    },
    async erase(reason) {
      if (await desk.change(t("office.person.erasing"), () => box.erase(id, reason, o.by), "")) {
        Object.assign(ui, { person: null, runs: [], mode: "gone", typed: "" });
        titled(t("office.person.erased_title"));
        draw();
      }
    },
  };
  draw = () => {
    Object.assign(ui, { today: desk.today(), facepieces: house.facepieces, rules: house.rules });
    render(person(o, ui, act), place);
    if (ui.person) titled(called(ui.person));
  };
  draw();
  void desk.run(t("office.reading"), async () => {
    await Promise.all([readHouse(), read()]);
    await readList();
  });
}

function bring() {
  /** @type {File|null} */
  let file = null;
  /** @type {Record<string, string>} */
  let how = {};
  /** @type {import("./view-import.js").Ui} */
  const ui = { file: "", preview: null, mapping: {}, trial: null, done: null };
  const read = (/** @type {boolean} */ anew) => desk.run(t("office.import.reading"), async () => {
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
    await desk.run(dry ? t("office.import.trying") : t("office.import.taking"), async () => {
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

