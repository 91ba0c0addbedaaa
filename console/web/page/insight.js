// SPDX-License-Identifier: Apache-2.0

// Joins the page of figures.

import { render } from "./vendor/lit-html.js";
import { chartOf } from "./chart.js";
import { desk as deskApi, told } from "./desk.js";
import { speak, t } from "./lang.js";
import { office } from "./office.js";
import { root, size } from "./screen.js";
import { addDays, newest } from "./state-office.js";
import { insight } from "./view-insight.js";

await speak(["run", "office", "desk"]);

const place = root("run.nav.insight");
const desk = office(() => draw());
const { o } = desk;
const api = deskApi((url, init) => fetch(url, init));
/** @type {import("./view-insight.js").Ui} */
const ui = { narrow: false, figures: null, drawings: new Map(), period: "all", from: "", to: "", names: "hidden", letters: [] };
const counting = newest();

function draw() {
  ui.narrow = size() === "narrow";
  render(insight(o, ui, act), place);
}

function read() {
  const fresh = counting();
  void desk.run(t("desk.insight.counting"), async () => {
    Object.assign(o, { problem: "", said: "" });
    const got = await told(() => api.figures(ui.from, ui.to));
    if (!fresh()) return;
    Object.assign(ui, { figures: got, drawings: new Map(got.charts.map((c) => [c.id, chartOf(c.svg)])), names: "hidden", letters: [] });
  });
}

/** @type {import("./view-insight.js").Acts} */
const act = {
  setBy: desk.setBy, settle: desk.settle, takeBack: desk.takeBack, undo: desk.undo,
  period(p) {
    ui.period = p;
    const today = desk.today();
    if (p === "all") Object.assign(ui, { from: "", to: "" });
    if (p === "quarter") Object.assign(ui, { from: addDays(today, -91), to: "" });
    if (p === "year") Object.assign(ui, { from: addDays(today, -365), to: "" });
    if (p === "own") draw();
    else read();
  },
  days(from, to) {
    Object.assign(ui, { from, to });
    read();
  },
  names(n) {
    if (n !== "shown") {
      Object.assign(ui, { names: n, letters: [] });
      draw();
      return;
    }
    void desk.run(t("desk.insight.asking"), async () => {
      Object.assign(o, { problem: "", said: "" });
      ui.letters = await told(() => api.letters(ui.from, ui.to), { not_known: t("desk.insight.no_letters"), malformed: t("desk.insight.no_letters") });
      ui.names = "shown";
    });
  },
};

addEventListener("resize", draw);
draw();
read();
