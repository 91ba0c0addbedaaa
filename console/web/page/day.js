// SPDX-License-Identifier: Apache-2.0

// Joins the page Day: it asks anew every ten seconds.

import { render } from "./vendor/lit-html.js";
import { office } from "./office.js";
import { root } from "./screen.js";
import { day } from "./view-day.js";

const everyMs = 10_000;
const place = root();
const desk = office(() => draw());
const { o, box } = desk;
/** @type {import("./view-day.js").Ui} */
const ui = { day: null, plan: null, people: 12, hoods: 1, facepieces: [], today: desk.today() };

const act = {
  setBy: desk.setBy, settle: desk.settle, takeBack: desk.takeBack, undo: desk.undo,
  reckon(/** @type {number} */ people, /** @type {number} */ hoods) {
    Object.assign(ui, { people, hoods });
    desk.clear();
    void desk.run("Reckoning many days", async () => {
      ui.plan = await box.plan(people, hoods);
    });
  },
};

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
const late = "The box does not answer. What stands here is old.";

draw();
void desk.run("Reading the day", async () => {
  [ui.day, ui.facepieces] = await Promise.all([box.day(), box.facepieces()]);
});
setInterval(read, everyMs);
