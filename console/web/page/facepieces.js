// SPDX-License-Identifier: Apache-2.0

// Joins the page Facepieces.

import { render } from "./vendor/lit-html.js";
import { empty, formOf } from "./api.js";
import { office } from "./office.js";
import { getJSON, root } from "./screen.js";
import { changes, modelOf, newId } from "./state-office.js";
import { facepieces } from "./view-facepieces.js";

const place = root();
const desk = office(() => draw());
const { o, box } = desk;
/** @type {import("./view-facepieces.js").Ui} */
const ui = { all: null, edit: null, gone: false, rules: [] };
const names = { make: "make", model: "model", style: "style", size: "size", type: "kind", fit_factor: "fit factor", pieces: "test pieces", stock: "stock", gone: "in use" };

async function read() {
  ui.all = await box.facepieces();
}

/** @type {import("./view-facepieces.js").Acts} */
const act = {
  setBy: desk.setBy, settle: desk.settle, takeBack: desk.takeBack, undo: desk.undo,
  edit(id) {
    if (id !== null && !desk.named()) return;
    desk.clear();
    ui.edit = id;
    draw();
    desk.top();
  },
  async save(form) {
    const all = ui.all ?? [];
    const was = all.find((f) => f.id === ui.edit);
    const id = was?.id ?? newId(modelOf(form), all.map((f) => f.id));
    const before = was && formOf(empty.facepiece, was);
    const fields = before ? changes(before, form, names) : [];
    if (was && fields.length === 0) {
      act.edit(null);
      return;
    }
    const work = (/** @type {import("./api.js").FacepieceForm} */ f) => async () => {
      await box.saveFacepiece(id, f, o.by);
      await read();
    };
    const undo = before
      ? { take: `${fields.join(", ")} of ${modelOf(before)}`, work: work(before) }
      : { take: `${modelOf(form)} is not used`, work: work({ ...form, gone: true }) };
    if (await desk.change("Saving the facepiece", work(form), was ? `Saved: ${fields.join(", ")} of ${modelOf(form)}.` : `Entered: ${modelOf(form)}.`, undo)) {
      ui.edit = null;
      draw();
      desk.top();
    }
  },
  cleaned(f, piece) {
    void desk.soon(`${piece} of ${modelOf(f)}: cleaned now.`, `cleaning of ${piece}`, () => box.cleaned(f.id, piece, o.by), () => desk.run("Reading", read));
  },
  showGone(gone) {
    ui.gone = gone;
    draw();
  },
};

function draw() {
  render(facepieces(o, ui, act), place);
}

draw();
void desk.run("Reading the facepieces", async () => {
  const [, c] = await Promise.all([read(), getJSON("/api/choices")]);
  const rules = /** @type {any} */ (c)?.rules;
  if (Array.isArray(rules)) ui.rules = rules.map((r) => ({ id: String(r.id), label: String(r.label).split(":")[0] ?? "" }));
});
