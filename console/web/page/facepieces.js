// SPDX-License-Identifier: Apache-2.0

// Joins the page Facepieces.

import { render } from "./vendor/lit-html.js";
import { empty, formOf } from "./api.js";
import { sentences, speak, t } from "./lang.js";
import { office } from "./office.js";
import { getJSON, root } from "./screen.js";
import { changes, modelOf, newId } from "./state-office.js";
import { facepieces } from "./view-facepieces.js";

await speak(["run", "office"]);

const place = root("run.nav.facepieces");
const desk = office(() => draw());
const { o, box } = desk;
/** @type {import("./view-facepieces.js").Ui} */
const ui = { all: null, edit: null, gone: false, rules: [] };
const names = sentences("office.pieces.fields");

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
      ? { take: t("office.of", { what: fields.join(", "), name: modelOf(before) }), work: work(before) }
      : { take: t("office.unused", { name: modelOf(form) }), work: work({ ...form, gone: true }) };
    if (await desk.change(t("office.pieces.saving"), work(form), was ? t("office.saved_of", { what: fields.join(", "), name: modelOf(form) }) : t("office.entered", { name: modelOf(form) }), undo)) {
      ui.edit = null;
      draw();
      desk.top();
    }
  },
  cleaned(f, piece) {
    void desk.soon(t("office.pieces.cleaning", { piece, name: modelOf(f) }), t("office.pieces.cleaning_of", { piece }), () => box.cleaned(f.id, piece, o.by), () => desk.run(t("office.reading"), read));
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
void desk.run(t("office.pieces.reading_all"), async () => {
  const [, c] = await Promise.all([read(), getJSON("/api/choices")]);
  const rules = /** @type {any} */ (c)?.rules;
  if (Array.isArray(rules)) ui.rules = rules.map((r) => ({ id: String(r.id), label: String(r.label).split(":")[0] ?? "" }));
});
