// SPDX-License-Identifier: Apache-2.0

// The models of facepieces: what each is, which rules let it be tested by
// taste, what is in stock, and the cleaning log of the test pieces. Pure.

import { html, nothing, svg } from "./vendor/lit-html.js";
import { t } from "./lang.js";
import { facepieceLine, modelOf } from "./state-office.js";
import { when } from "./state-record.js";
import { either, field, filledIn, loading, office, textOf } from "./view-office.js";
import { bold, rich } from "./view-words.js";
import { kinds } from "./words-office.js";
import { lookUp, ruleName, ruleRefusal } from "./words.js";

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
  const page = { here: "/facepieces", title: t("office.pieces.title"), cls: "facepieces" };
  if (ui.all === null) return office(page, o, act, o.problem ? nothing : loading(t("office.pieces.reading")));
  if (ui.edit !== null) {
    const f = ui.all.find((x) => x.id === ui.edit);
    return office({ ...page, title: f ? modelOf(f) : t("office.pieces.enter") }, o, act, form(f, o, act));
  }
  const used = ui.all.filter((f) => !f.gone);
  const gone = ui.all.filter((f) => f.gone);
  if (ui.all.length === 0) {
    return office({ ...page, say: t("office.pieces.say.none") }, o, act, html`<section class="empty">
      <p>${t("office.pieces.each_size")}</p><p><button class="primary" @click=${() => act.edit("")}>${t("office.pieces.enter_first")}</button></p></section>`);
  }
  return office({ ...page, say: say(used, ui.rules) }, o, act, html`
    <ul class="models">${used.map((f) => model(f, o, ui, act))}</ul>
    <div class="either"><button @click=${() => act.edit("")}>${t("office.pieces.enter")}<small>${t("office.pieces.by_itself")}</small></button>
      ${gone.length ? html`<button @click=${() => act.showGone(!ui.gone)} aria-expanded=${ui.gone ? "true" : "false"}>${ui.gone ? t("office.pieces.hide_gone") : t("office.pieces.show_gone")}<small>${t("office.pieces.gone", { n: gone.length })}</small></button>` : nothing}</div>
    ${ui.gone ? html`<ul class="models past">${gone.map((f) => model(f, o, ui, act))}</ul>` : nothing}`);
}

/** @param {Facepiece[]} used @param {{id: string, label: string}[]} rules */
function say(used, rules) {
  if (used.length === 0) return t("office.pieces.say.unused");
  const none = used.filter((f) => rules.length > 0 && rules.every((r) => f.refused[r.id]));
  if (none.length === 1 && none[0]) return t("office.pieces.say.not_one", { name: modelOf(none[0]) });
  if (none.length > 1) return t("office.pieces.say.not", { n: none.length });
  const some = used.filter((f) => Object.keys(f.refused).length > 0);
  if (some.length > 0) return t("office.pieces.say.refused", { n: some.length });
  return t("office.pieces.say.same");
}

/** @param {Facepiece} f @param {import("./office.js").Office} o @param {Ui} ui @param {Acts} act */
function model(f, o, ui, act) {
  const known = ui.rules.length ? ui.rules : Object.keys(f.refused).map((id) => ({ id, label: id }));
  return html`<li class="model" aria-label=${modelOf(f)}>
    ${shapeOf(f.type)}
    <div class="what"><h2>${f.make} ${f.model} <span class="size">${f.size}</span></h2><p>${facepieceLine(f)}</p>
      <ul class="limits">${known.map((r) => html`<li class=${f.refused[r.id] ? "no" : ""}>${f.refused[r.id] ? html`<span aria-hidden="true">⊘ </span>${ruleRefusal(f.refused[r.id] ?? "")}` : html`<span aria-hidden="true">✓ </span>${t("office.pieces.may", { rules: ruleName(r.label) })}`}</li>`)}</ul></div>
    <div class="stock"><p>${f.stock === 0 ? rich("office.pieces.none_left", {}, bold) : rich("office.pieces.in_stock", { n: f.stock }, bold)}</p>
      ${f.pieces.length === 0 ? html`<p class="small">${t("office.pieces.no_piece")}</p>` : html`<ul>${f.pieces.map(
        (p) => html`<li><span class="piece"><b>${p}</b><small>${f.cleaned[p] ? t("office.pieces.cleaned", { when: when(f.cleaned[p]) }) : t("office.pieces.no_cleaning")}</small></span><button ?disabled=${o.working} aria-label=${t("office.pieces.cleaned_which", { piece: p, name: modelOf(f) })} @click=${() => act.cleaned(f, p)}>${t("office.pieces.cleaned_now")}</button></li>`,
      )}</ul>`}
      <p><button class="plain-button" aria-label=${t("office.change_which", { name: modelOf(f) })} @click=${() => act.edit(f.id)}>${t("office.change")}</button></p></div></li>`;
}

/** A plain shape of the kind, of no maker. @param {string} type */
function shapeOf(type) {
  const strokes = type === "full_face" ? ["M60 12C94 12 104 40 102 66C100 96 82 112 60 112C38 112 20 96 18 66C16 40 26 12 60 12Z", "M32 58C34 34 44 26 60 26C76 26 86 34 88 58Z", "M44 74C50 68 70 68 76 74L72 98H48Z", "M18 50L4 44M102 50L116 44M24 92L10 100M96 92L110 100"]
    : type === "half_mask" ? ["M60 22C70 34 90 62 88 82C86 100 74 106 60 106C46 106 34 100 32 82C30 62 50 34 60 22Z", "M34 78m-22 0a14 14 0 1 0 28 0a14 14 0 1 0 -28 0", "M80 78a14 14 0 1 0 28 0a14 14 0 1 0 -28 0", "M44 46L10 28M76 46L110 28"]
      : ["M60 26C86 26 100 48 98 68C96 92 80 104 60 104C40 104 24 92 22 68C20 48 34 26 60 26Z", "M46 30C52 40 68 40 74 30", "M24 52L6 40M96 52L114 40M26 84L8 94M94 84L112 94"];
  return html`<svg class="kind" viewBox="0 0 120 120" role="img" aria-label=${lookUp(kinds, type)}>${strokes.map((d) => svg`<path d=${d}></path>`)}</svg>`;
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
  return html`<form class="sheet-form" aria-label=${t("office.pieces.one")} @submit=${send}>
    ${field("make", t("office.pieces.make"), f?.make ?? "", { required: true, hint: t("office.pieces.make_hint") })}${field("model", t("office.pieces.model"), f?.model ?? "", { required: true })}${field("size", t("office.pieces.size"), f?.size ?? "", { required: true })}
    ${field("style", t("office.pieces.style"), f?.style ?? "", { required: true, most: 400, hint: t("office.pieces.style_hint") })}
    <div class="wide">${either("type", t("office.pieces.kind"), f?.type ?? "half_mask", Object.entries(kinds))}</div>
    ${field("fit_factor", t("office.pieces.factor"), String(f?.fit_factor || ""), { type: "number", min: "0", max: "100000", hint: t("office.pieces.factor_hint") })}${field("stock", t("office.pieces.stock"), String(f?.stock ?? 0), { type: "number", min: "0", max: "100000" })}
    ${field("pieces", t("office.pieces.marks"), (f?.pieces ?? []).join(", "), { most: 4000, hint: t("office.pieces.marks_hint"), wide: true })}
    ${f ? html`<label class="option wide"><input type="checkbox" name="gone" ?checked=${f.gone}><span>${t("office.not_used")}</span></label>` : nothing}
    <div class="either wide"><button class="primary" ?disabled=${o.working}>${f ? t("office.pieces.save") : t("office.pieces.enter_this")}</button><button type="button" @click=${() => act.edit(null)}>${t("office.person.leave")}<small>${t("office.as_it_was")}</small></button></div></form>`;
}
