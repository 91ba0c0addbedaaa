// SPDX-License-Identifier: Apache-2.0

// The models of facepieces: what each is, which rules let it be tested by
// taste, what is in stock, and the cleaning log of the test pieces. Pure.

import { html, nothing, svg } from "./vendor/lit-html.js";
import { facepieceLine, modelOf } from "./state-office.js";
import { when } from "./state-record.js";
import { either, field, filledIn, loading, office, textOf } from "./view-office.js";
import { kinds } from "./words-office.js";

/** @typedef {import("./api.js").Facepiece} Facepiece */
/** @typedef {import("./api.js").FacepieceForm} FacepieceForm */
/**
 * @typedef {object} Ui
 * @property {Facepiece[]|null} all  null: not read yet
 * @property {string|null} edit      id; empty for a new one; null for none
 * @property {boolean} gone          those that are not used any more are shown
 * @property {{id: string, label: string}[]} rules
 */
/**
 * @typedef {object} Own
 * @property {(id: string|null) => void} edit
 * @property {(form: FacepieceForm) => void} save
 * @property {(f: Facepiece, piece: string) => void} cleaned
 * @property {(gone: boolean) => void} showGone
 */
/** @typedef {Own & import("./view-office.js").OfficeActs} Acts */

/** @param {import("./office.js").Office} o @param {Ui} ui @param {Acts} act */
export function facepieces(o, ui, act) {
  const page = { here: "/facepieces", title: "Facepieces", cls: "facepieces" };
  if (ui.all === null) return office(page, o, act, o.problem ? nothing : loading("Reading the facepieces."));
  if (ui.edit !== null) {
    const f = ui.all.find((x) => x.id === ui.edit);
    return office({ ...page, title: f ? modelOf(f) : "Enter a facepiece" }, o, act, form(f, o, act));
  }
  const used = ui.all.filter((f) => !f.gone);
  const gone = ui.all.filter((f) => f.gone);
  if (ui.all.length === 0) {
    return office({ ...page, say: "No facepiece is entered yet. *Enter each model* that is worn, size by size." }, o, act, html`<section class="empty">
      <p>A test is of one make, one model and one size on one face, so each size is an entry of its own.</p><p><button class="primary" @click=${() => act.edit("")}>Enter the first facepiece</button></p></section>`);
  }
  return office({ ...page, say: say(used, ui.rules) }, o, act, html`
    <ul class="models">${used.map((f) => model(f, o, ui, act))}</ul>
    <div class="either"><button @click=${() => act.edit("")}>Enter a facepiece<small>each size by itself</small></button>
      ${gone.length ? html`<button @click=${() => act.showGone(!ui.gone)} aria-expanded=${ui.gone ? "true" : "false"}>${ui.gone ? "Hide" : "Show"} those not used any more<small>${gone.length} of them; their records stay</small></button>` : nothing}</div>
    ${ui.gone ? html`<ul class="models past">${gone.map((f) => model(f, o, ui, act))}</ul>` : nothing}`);
}

/** @param {Facepiece[]} used @param {{id: string, label: string}[]} rules */
function say(used, rules) {
  if (used.length === 0) return "No facepiece is in use. *Enter the models* that are worn.";
  const none = used.filter((f) => rules.length > 0 && rules.every((r) => f.refused[r.id]));
  if (none.length === 1 && none[0]) return `*${modelOf(none[0])}* cannot be tested by taste under any rule set here: use a quantitative test.`;
  if (none.length > 1) return `*${none.length} models* cannot be tested by taste under any rule set here: use a quantitative test.`;
  const some = used.filter((f) => Object.keys(f.refused).length > 0);
  if (some.length > 0) return `${some.length === 1 ? "One model is" : `${some.length} models are`} *refused* under one of the rule sets; the reason stands beside it.`;
  return "Test each person with the very make, model and size that is worn at work.";
}

/** @param {Facepiece} f @param {import("./office.js").Office} o @param {Ui} ui @param {Acts} act */
function model(f, o, ui, act) {
  const known = ui.rules.length ? ui.rules : Object.keys(f.refused).map((id) => ({ id, label: id }));
  return html`<li class="model" aria-label=${modelOf(f)}>
    ${shapeOf(f.type)}
    <div class="what"><h2>${f.make} ${f.model} <span class="size">${f.size}</span></h2><p>${facepieceLine(f)}</p>
      <ul class="limits">${known.map((r) => html`<li class=${f.refused[r.id] ? "no" : ""}>${f.refused[r.id] ? html`<span aria-hidden="true">⊘ </span>${f.refused[r.id]}` : html`<span aria-hidden="true">✓ </span>${r.label}: may be tested by taste.`}</li>`)}</ul></div>
    <div class="stock"><p><b>${f.stock}</b> unmarked in stock${f.stock === 0 ? html`, <strong>none left</strong>` : nothing}</p>
      ${f.pieces.length === 0 ? html`<p class="small">No marked test piece.</p>` : html`<ul>${f.pieces.map(
        (p) => html`<li><span class="piece"><b>${p}</b><small>${f.cleaned[p] ? `cleaned ${when(f.cleaned[p])}` : "no cleaning noted"}</small></span><button ?disabled=${o.working} aria-label=${`Cleaned now: ${p} of ${modelOf(f)}`} @click=${() => act.cleaned(f, p)}>Cleaned now</button></li>`,
      )}</ul>`}
      <p><button class="plain-button" aria-label=${`Change ${modelOf(f)}`} @click=${() => act.edit(f.id)}>Change</button></p></div></li>`;
}

/** A plain shape of the kind, of no maker. @param {string} type */
function shapeOf(type) {
  const strokes = type === "full_face" ? ["M60 12C94 12 104 40 102 66C100 96 82 112 60 112C38 112 20 96 18 66C16 40 26 12 60 12Z", "M32 58C34 34 44 26 60 26C76 26 86 34 88 58Z", "M44 74C50 68 70 68 76 74L72 98H48Z", "M18 50L4 44M102 50L116 44M24 92L10 100M96 92L110 100"]
    : type === "half_mask" ? ["M60 22C70 34 90 62 88 82C86 100 74 106 60 106C46 106 34 100 32 82C30 62 50 34 60 22Z", "M34 78m-22 0a14 14 0 1 0 28 0a14 14 0 1 0 -28 0", "M80 78a14 14 0 1 0 28 0a14 14 0 1 0 -28 0", "M44 46L10 28M76 46L110 28"]
      : ["M60 26C86 26 100 48 98 68C96 92 80 104 60 104C40 104 24 92 22 68C20 48 34 26 60 26Z", "M46 30C52 40 68 40 74 30", "M24 52L6 40M96 52L114 40M26 84L8 94M94 84L112 94"];
  return html`<svg class="kind" viewBox="0 0 120 120" role="img" aria-label=${kinds[type] ?? type}>${strokes.map((d) => svg`<path d=${d}></path>`)}</svg>`;
}

/** @param {Facepiece|undefined} f @param {import("./office.js").Office} o @param {Acts} act */
function form(f, o, act) {
  const send = (/** @type {Event} */ e) => {
    const d = filledIn(e);
    act.save({
      make: textOf(d, "make"), model: textOf(d, "model"), style: textOf(d, "style"), size: textOf(d, "size"), type: textOf(d, "type"), fit_factor: Number(textOf(d, "fit_factor")) || 0,
      pieces: textOf(d, "pieces").split(/[,;\n]/).map((p) => p.trim()).filter((p, i, all) => p !== "" && all.indexOf(p) === i), stock: Number(textOf(d, "stock")) || 0, gone: d.get("gone") === "on",
    });
  };
  return html`<form class="sheet-form" aria-label="Facepiece" @submit=${send}>
    ${field("make", "Make", f?.make ?? "", { required: true, hint: "as it is printed on it" })}${field("model", "Model", f?.model ?? "", { required: true })}${field("size", "Size", f?.size ?? "", { required: true })}
    ${field("style", "Style and material", f?.style ?? "", { required: true, most: 400, hint: "such as: silicone, two P3 filters" })}
    <div class="wide">${either("type", "Kind", f?.type ?? "half_mask", Object.entries(kinds))}</div>
    ${field("fit_factor", "Fit factor that is needed", String(f?.fit_factor || ""), { type: "number", min: "0", max: "100000", hint: "empty: not stated" })}${field("stock", "Unmarked pieces in stock", String(f?.stock ?? 0), { type: "number", min: "0", max: "100000" })}
    ${field("pieces", "Marks of the test pieces", (f?.pieces ?? []).join(", "), { most: 4000, hint: "parted by commas", wide: true })}
    ${f ? html`<label class="option wide"><input type="checkbox" name="gone" ?checked=${f.gone}><span>Not used any more; its records stay</span></label>` : nothing}
    <div class="either wide"><button class="primary" ?disabled=${o.working}>${f ? "Save the change" : "Enter this facepiece"}</button><button type="button" @click=${() => act.edit(null)}>Leave it<small>as it was</small></button></div></form>`;
}
