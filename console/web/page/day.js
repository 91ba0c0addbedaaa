// SPDX-License-Identifier: Apache-2.0

// Joins the page Day: it asks anew every ten seconds.

import { render } from "./vendor/lit-html.js";
import { dayIn, speak, t } from "./lang.js";
import { office } from "./office.js";
import { root } from "./screen.js";
import { called, newest } from "./state-office.js";
import { day } from "./view-day.js";

await speak(["run", "office"]);

const everyMs = 10_000;
/** How long after the last key the search is asked for. */
const pauseMs = 150;
const place = root("run.nav.day");
const desk = office(() => draw());
const { o, box } = desk;
/** @type {import("./view-day.js").Ui} */
const ui = { day: null, plan: null, people: 12, hoods: 1, facepieces: [], today: desk.today(), query: "", matches: null };
const searching = newest();
/** @type {ReturnType<typeof setTimeout>|undefined} */
let pause;

const act = {
  setBy: desk.setBy, settle: desk.settle, takeBack: desk.takeBack, undo: desk.undo,
  reckon(/** @type {number} */ people, /** @type {number} */ hoods) {
    Object.assign(ui, { people, hoods });
    desk.clear();
    void desk.run(t("office.day.reckoning"), async () => {
      ui.plan = await box.plan(people, hoods);
    });
  },
  type(/** @type {string} */ text) {
    ui.query = text;
    clearTimeout(pause);
    pause = setTimeout(() => void find(), pauseMs);
  },
  list(/** @type {{id: string, called: string}} */ p, /** @type {boolean} */ off) {
    const on = ui.day?.day ?? ui.today;
    const place = ui.day?.expected.find((e) => e.person === p.id)?.place ?? 0;
    const says = { name: p.called, day: dayIn(on) };
    const put = (/** @type {boolean} */ off) => async () => {
      await box.listed(p.id, on, place, off, o.by);
      ui.day = await box.day();
    };
    void desk.change(t("office.listed.changing"), put(off), t(off ? "office.listed.now_off" : "office.listed.now_on", says), { word: t(off ? "office.listed.undo_off" : "office.listed.undo_on", says), work: put(!off) });
    if (!o.byMissing && !off) Object.assign(ui, { query: "", matches: null });
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
  await desk.run(t("office.people.searching"), async () => {
    const got = await box.people(query, "", 8);
    if (fresh()) ui.matches = got.people.map((p) => ({ id: p.id, called: called(p), more: [p.name ? p.number : "", p.job].filter(Boolean).join(", ") }));
  });
}

function draw() {
  ui.today = desk.today();
  render(day(o, ui, act), place);
}

async function read() {
  try {
    ui.day = await box.day();
    if (o.problem === late) o.problem = "";
  } catch {
    if (ui.day) o.problem = late;
  }
  draw();
}
const late = t("office.day.old");

draw();
void desk.run(t("office.day.reading_day"), async () => {
  [ui.day, ui.facepieces] = await Promise.all([box.day(), box.facepieces()]);
});
setInterval(read, everyMs);
