// SPDX-License-Identifier: Apache-2.0

// Joins the page Kit: it asks anew every half minute while nothing is being
// done, and counts down in between.

import { render } from "./vendor/lit-html.js";
import { empty, formOf } from "./api.js";
import { office } from "./office.js";
import { root } from "./screen.js";
import { called, changes, newId } from "./state-office.js";
import { kit } from "./view-kit.js";

const everyMs = 30_000;
const place = root();
const desk = office(() => draw());
const { o, box } = desk;
/** @type {import("./view-kit.js").Ui} */
const ui = { kit: null, ageMs: 0, doing: { do: "look" }, recipes: [], gone: false, today: desk.today() };
let readAt = performance.now();

const names = {
  hoods: { mark: "mark", across_mm: "width", tall_mm: "height", gone: "in use" },
  nebulisers: { mark: "mark", role: "role", agent: "agent", gone: "in use" },
  solutions: { agent: "agent", strength: "strength", lot: "lot", made: "day made", expires: "good until", recipe: "recipe", source: "source", who: "made by", gone: "in use" },
};
const forms = { hoods: empty.hood, nebulisers: empty.nebuliser, solutions: empty.solution };

async function read() {
  ui.kit = await box.kit();
  readAt = performance.now();
}

/** @param {any} form */
const nameOf = (form) => form.mark ?? `lot ${form.lot}`;

/** @param {import("./view-kit.js").Doing} doing */
function go(doing) {
  if (doing.do !== "look" && !desk.named()) return;
  const other = doing.do !== ui.doing.do;
  if (other) desk.clear();
  ui.doing = doing;
  draw();
  if (other) desk.top();
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
    const work = (/** @type {object} */ f) => async () => {
      await box.saveKit(kind, key, f, o.by);
      await read();
    };
    const undo = before ? { take: `${fields.join(", ")} of ${nameOf(before)}`, work: work(before) } : { take: `${nameOf(form)} is not used`, work: work({ ...form, gone: true }) };
    if (await desk.change("Saving", work(form), before ? `Saved: ${fields.join(", ")} of ${nameOf(form)}.` : `Entered: ${nameOf(form)}.`, undo)) {
      ui.doing = { do: "look" };
      draw();
      desk.top();
    }
  },
  async fill(n, solution) {
    const lot = ui.kit?.solutions.find((s) => s.id === solution)?.lot ?? "";
    if (await desk.change("Noting the filling", async () => {
      await box.filled(n.id, solution, o.by);
      await read();
    }, `${n.mark} is filled from lot ${lot}. Now look for mist.`)) {
      ui.doing = { do: "seen", id: n.id };
      draw();
      desk.top();
    }
  },
  async good(n) {
    if (await desk.change("Noting the mist check", async () => {
      await box.mist(n.id, true, [], o.by);
      await read();
    }, `${n.mark}: mist came.`)) {
      ui.doing = { do: "look" };
      draw();
    }
  },
  async sweep(n) {
    const doing = /** @type {Extract<import("./view-kit.js").Doing, {do: "bad"}>} */ ({ do: "bad", id: n.id, sweep: null, names: {} });
    go(doing);
    await desk.run("Looking which tests depend on it", async () => {
      const sweep = await box.sweep(n.id);
      const known = await Promise.allSettled(sweep.people.map((p) => box.person(p)));
      const names = Object.fromEntries(sweep.people.map((p, i) => {
        const k = known[i];
        return [p, k?.status === "fulfilled" ? called(k.value.person) : `${p} (erased)`];
      }));
      if (ui.doing === doing) ui.doing = { ...doing, sweep, names };
    });
  },
  async bad(n, sweep) {
    const known = ui.doing.do === "bad" ? ui.doing.names : {};
    const done = await desk.change("Noting it, and what follows", async () => {
      await box.mist(n.id, false, sweep.runs.map((r) => r.run), o.by);
      await read();
    }, "");
    if (done) {
      ui.doing = { do: "recalled", mark: n.mark, sweep, names: known };
      draw();
      desk.top();
    } else if (ui.doing.do === "bad") {
      const { problem } = o;
      await act.sweep(n); // what is shown is what would be done
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
void desk.run("Reading what kit there is", async () => {
  const [, recipes] = await Promise.all([read(), box.recipes().catch(() => [])]);
  ui.recipes = recipes;
});
setInterval(() => {
  if (ui.doing.do === "look" && !o.working && performance.now() - readAt > everyMs) void read().then(draw, () => {});
  draw();
}, 1000);
