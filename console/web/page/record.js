// SPDX-License-Identifier: Apache-2.0

// Joins one record; its run stands last in the address.

import { render } from "./vendor/lit-html.js";
import { ApiError } from "./api.js";
import { desk as deskApi, told } from "./desk.js";
import { speak, t } from "./lang.js";
import { office } from "./office.js";
import { asPicture, copyText, saveFile } from "./save.js";
import { getJSON, root, size } from "./screen.js";
import { base64, blank, down, kept, move, outlines, ratio, up } from "./sign.js";
import { arriving, readRecord } from "./state-record.js";
import { record } from "./view-records.js";
import { labels } from "./words-desk.js";
import { lookUp } from "./words.js";

await speak(["run", "office", "desk"]);

const place = root("desk.record.title");
const desk = office(() => draw());
const { o } = desk;
const api = deskApi((url, init) => fetch(url, init));
const id = decodeURIComponent(location.pathname.split("/").at(-1) ?? "");
/** @type {import("./view-records.js").RecordUi} */
const ui = { size: size(), full: null, run: null, kit: {}, open: false, mode: "look", drawing: blank(), typed: "", letters: [], claim: null, picture: "", code: "", beside: null };

function draw() {
  document.body.classList.toggle("practising", Boolean(ui.full?.practice));
  ui.size = size();
  render(record(o, ui, act), place);
}

async function read() {
  /** @type {unknown} */
  let view;
  try {
    ({ run: ui.run, view } = await api.run(id));
  } catch (err) {
    if (!(err instanceof ApiError) || err.status !== 404 || err.why) throw err;
    // The job around the runs is not served here; the runs are.
    ui.run = null;
    view = await getJSON(`/api/records/${encodeURIComponent(id)}`).catch(() => {
      throw new ApiError(404, "", t("desk.record.no_run"));
    });
  }
  if (/** @type {any} */ (view)?.record === null) {
    ui.open = true;
    return;
  }
  ui.full = readRecord(view);
  if (ui.run?.nebulisers.length && !ui.full.kit) {
    const kit = await desk.box.kit().catch(() => null);
    ui.kit = Object.fromEntries(kit?.nebulisers.map((n) => [n.id, n.mark]) ?? []);
  }
}

/** Runs that this one may be laid beside, newest first: the same person's, or the newest where there are none. */
async function others() {
  const not = (/** @type {import("./state-record.js").Row[]} */ rows) => rows.filter((r) => r.run !== id);
  const person = ui.run?.person ?? "";
  const same = person === "" ? [] : not((await told(() => api.runs({ person }, "", 50))).runs);
  return same.length > 0 ? same : not((await told(() => api.runs({}, "", 20))).runs);
}

/** A name in letters, as strokes. @param {string} name */
function lettersOf(name) {
  const height = 150;
  const width = height * ratio;
  const pen = Object.assign(document.createElement("canvas"), { width, height }).getContext("2d", { willReadFrequently: true });
  if (!pen || name === "") return [];
  const font = (/** @type {number} */ size) => { pen.font = `400 ${size}px system-ui, "DejaVu Sans", sans-serif`; };
  font(60);
  font(Math.min(60, (60 * 0.92 * width) / Math.max(1, pen.measureText(name).width)));
  pen.textAlign = "center";
  pen.textBaseline = "middle";
  pen.fillText(name, width / 2, height * 0.55);
  const { data } = pen.getImageData(0, 0, width, height);
  return outlines((x, y) => (data[(y * width + x) * 4 + 3] ?? 0) > 127, width, height);
}

/** @param {import("./view-records.js").RecordUi["mode"]} mode */
function turn(mode) {
  Object.assign(ui, { mode, drawing: blank(), typed: "", letters: [] });
  draw();
}

/** @type {import("./view-records.js").RecordActs} */
const act = {
  setBy: desk.setBy, settle: desk.settle, takeBack: desk.takeBack, undo: desk.undo,
  mode(mode) {
    if (mode !== "look" && !desk.named()) return;
    desk.clear();
    turn(mode);
    document.querySelector(mode === "look" ? "#h-sign" : mode === "amend" ? ".amend" : ".signing")?.scrollIntoView({ block: "nearest" });
  },
  pen(what, x, y) {
    ui.drawing = what === "down" ? down(ui.drawing, x, y) : what === "move" ? move(ui.drawing, x, y) : up(ui.drawing);
    draw();
  },
  wipe() {
    ui.drawing = blank();
    draw();
  },
  type(text) {
    ui.typed = text;
    ui.letters = lettersOf(text.trim());
    draw();
  },
  async sign() {
    const { full, mode } = ui;
    if (!full || (mode !== "tester" && mode !== "wearer")) return;
    const shown = full.hash;
    const how = ui.typed.trim() ? "typed" : "drawn";
    const strokes = base64(kept(how === "typed" ? ui.letters : ui.drawing.strokes));
    const done = await desk.change(t("desk.record.signing"), () => told(() => api.sign(id, mode, shown, strokes, how, o.by)), t(`desk.record.signed_by.${mode}`));
    const problem = o.problem;
    await desk.run(t("desk.reading"), read);
    if (done) turn("look");
    else o.problem = problem; // beside the record as it is now
    draw();
  },
  async amend(field, to, reason) {
    if (await desk.change(t("desk.record.correcting"), () => told(() => api.amend(id, field, to, reason, o.by)), t("desk.record.label_corrected", { label: lookUp(labels, field) }))) {
      await desk.run(t("desk.reading"), read);
      turn("look");
    }
  },
  save(path) {
    void desk.run(t("desk.writing_file"), async () => {
      Object.assign(o, { problem: "", said: "" });
      const f = await told(() => api.file(path, null, arriving(o, draw)));
      saveFile(f.blob, f.name);
      o.said = t("desk.saved", { name: f.name });
    });
  },
  prove() {
    void desk.run(t("desk.record.proving"), async () => {
      Object.assign(o, { problem: "", said: "" });
      ui.claim = await told(() => api.claim(id));
      // The text stands without its picture.
      ui.code = await api.file(`/evidence/${encodeURIComponent(id)}/code.svg`).then((f) => asPicture(f.blob), () => "");
    });
  },
  card() {
    void desk.run(t("desk.record.drawing_card"), async () => {
      Object.assign(o, { problem: "", said: "" });
      ui.picture = await asPicture((await told(() => api.file(`/runs/${encodeURIComponent(id)}/card.png?lang=own`))).blob);
    });
  },
  beside() {
    void desk.run(t("desk.record.beside_reading"), async () => {
      Object.assign(o, { problem: "", said: "" });
      ui.beside = await others();
    });
  },
  async copy(text, what) {
    o.said = t((await copyText(text)) ? "desk.copied" : "desk.not_copied", { what });
    draw();
  },
};

addEventListener("keydown", (e) => {
  if (e.key === "Escape" && ui.mode !== "look") turn("look");
});
addEventListener("resize", draw);
draw();
void desk.run(t("desk.record.reading_now"), read);
