// SPDX-License-Identifier: Apache-2.0

// Joins the page Kit: it asks anew every half minute while nothing is being
// done, and counts down in between.

import { render } from "./vendor/lit-html.js";
import { empty, formOf } from "./api.js";
import { sentences, speak, t } from "./lang.js";
import { office } from "./office.js";
import { root } from "./screen.js";
import { called, changes, newId } from "./state-office.js";
import { kit } from "./view-kit.js";

await speak(["run", "office"]);

const everyMs = 30_000;
const place = root("run.nav.kit");
const desk = office(() => draw());
const { o, box } = desk;
/** @type {import("./view-kit.js").Ui} */
const ui = { kit: null, ageMs: 0, doing: { do: "look" }, recipes: [], gone: false, today: desk.today() };
let readAt = performance.now();

const names = { hoods: sentences("office.kit.hood_fields"), nebulisers: sentences("office.kit.neb_fields"), solutions: sentences("office.kit.batch_fields") };
const forms = { hoods: empty.hood, nebulisers: empty.nebuliser, solutions: empty.solution };

async function read() {
  ui.kit = await box.kit();
  readAt = performance.now();
}

/** @param {any} form */
const nameOf = (form) => form.mark ?? t("office.kit.lot_name", { lot: form.lot });

/** @param {import("./view-kit.js").Doing} doing */
function go(doing) {
  if (doing.do !== "look" && !desk.named()) return;
  const other = doing.do !== ui.doing.do;
  if (other) desk.clear();
  ui.doing = doing;
  draw();
  if (other) desk.top();
}

/** Who the people of a sweep are. @param {import("./api.js").Sweep} sweep */
async function namesOf(sweep) {
  const known = await Promise.allSettled(sweep.people.map((p) => box.person(p)));
  return Object.fromEntries(sweep.people.map((p, i) => {
    const k = known[i];
    return [p, k?.status === "fulfilled" ? called(k.value.person) : t("office.kit.erased", { person: p })];
  }));
}

/**
 * Looks what a change of a batch would recall, and shows it. True: the change
 * waits for whoever looks at it, or the box could not be asked.
 * @param {string} id @param {import("./api.js").SolutionForm} form
 */
async function asked(id, form) {
  let waits = true;
  await desk.run(t("office.kit.looking"), async () => {
    const sweep = await box.sweepBatch(id, form);
    waits = sweep.runs.length > 0;
    if (waits) ui.doing = { do: "batch", id, form, sweep, names: await namesOf(sweep) };
  });
  if (waits && ui.doing.do === "batch") desk.top();
  return waits;
}

/** @type {import("./view-kit.js").Acts} */
const act = {
  setBy: desk.setBy, settle: desk.settle, takeBack: desk.takeBack, undo: desk.undo, go,
  async save(kind, id, form) {
    const all = /** @type {{id: string}[]} */ (ui.kit?.[kind] ?? []);
    const was = all.find((x) => x.id === id);
    const before = was && formOf(forms[kind], was);
    const fields = before ? changes(/** @type {any} */ (before), form, names[kind]) : [];
    if (was && fields.length === 0) {
      go({ do: "look" });
      return;
    }
    const key = was?.id ?? newId(form.mark ?? `${form.agent}-${form.strength}-${form.lot}`, all.map((x) => x.id));
    if (before && kind === "solutions" && await asked(key, form)) return;
    const work = (/** @type {object} */ f) => async () => {
      await box.saveKit(kind, key, f, o.by);
      await read();
    };
    const undo = before ? { take: t("office.of", { what: fields.join(", "), name: nameOf(before) }), work: work(before) } : { take: t("office.unused", { name: nameOf(form) }), work: work({ ...form, gone: true }) };
    if (await desk.change(t("office.kit.saving"), work(form), before ? t("office.saved_of", { what: fields.join(", "), name: nameOf(form) }) : t("office.entered", { name: nameOf(form) }), undo)) {
      ui.doing = { do: "look" };
      draw();
      desk.top();
    }
  },
  async fill(n, solution) {
    const lot = ui.kit?.solutions.find((s) => s.id === solution)?.lot ?? "";
    if (await desk.change(t("office.kit.noting_filling"), async () => {
      await box.filled(n.id, solution, o.by);
      await read();
    }, t("office.kit.is_filled", { mark: n.mark, lot }))) {
      ui.doing = { do: "seen", id: n.id };
      draw();
      desk.top();
    }
  },
  async good(n) {
    if (await desk.change(t("office.kit.noting_mist"), async () => {
      await box.mist(n.id, true, [], o.by);
      await read();
    }, t("office.kit.came", { mark: n.mark }))) {
      ui.doing = { do: "look" };
      draw();
    }
  },
  async sweep(n) {
    const doing = /** @type {Extract<import("./view-kit.js").Doing, {do: "bad"}>} */ ({ do: "bad", id: n.id, sweep: null, names: {} });
    go(doing);
    await desk.run(t("office.kit.looking"), async () => {
      const sweep = await box.sweep(n.id);
      const names = await namesOf(sweep);
      if (ui.doing === doing) ui.doing = { ...doing, sweep, names };
    });
  },
  async bad(n, sweep) {
    const known = ui.doing.do === "bad" ? ui.doing.names : {};
    const done = await desk.change(t("office.kit.noting"), async () => {
      await box.mist(n.id, false, sweep.runs.map((r) => r.run), o.by);
      await read();
    }, "");
    if (done) {
      ui.doing = { do: "recalled", mark: n.mark, lot: "", sweep, names: known };
      draw();
      desk.top();
    } else if (ui.doing.do === "bad") {
      const { problem } = o;
      await act.sweep(n); // what is shown is what would be done
      o.problem = problem;
      draw();
    }
  },
  async batch(d) {
    const { id, form, sweep, names: known } = d;
    if (await desk.change(t("office.kit.noting"), async () => {
      await box.changeBatch(id, form, sweep.runs.map((r) => r.run), o.by);
      await read();
    }, "")) {
      ui.doing = { do: "recalled", mark: "", lot: form.lot, sweep, names: known };
      draw();
      desk.top();
    } else {
      const { problem } = o;
      await asked(id, form); // what is shown is what would be done
      o.problem = problem;
      draw();
    }
  },
  showGone(gone) {
    ui.gone = gone;
    draw();
  },
};

function draw() {
  ui.ageMs = performance.now() - readAt;
  ui.today = desk.today();
  render(kit(o, ui, act), place);
}

draw();
void desk.run(t("office.kit.reading_kit"), async () => {
  const [, recipes] = await Promise.all([read(), box.recipes().catch(() => [])]);
  ui.recipes = recipes;
});
setInterval(() => {
  if (ui.doing.do === "look" && !o.working && performance.now() - readAt > everyMs) void read().then(draw, () => {});
  draw();
}, 1000);
