// SPDX-License-Identifier: Apache-2.0

// The sheet around every page of the job around the runs, and parts that
// several of them share. Pure.

import { html, nothing, svg } from "./vendor/lit-html.js";
import { shape } from "./draw.js";
import { t } from "./lang.js";
import { nav, practice, sentence } from "./view-common.js";
import { dateField } from "./view-date.js";
import { bold, rich } from "./view-words.js";

/** @typedef {import("./office.js").Office} Office */
/** @typedef {{setBy: (name: string) => void, settle: () => unknown, takeBack: () => void, undo: () => unknown}} OfficeActs */
/** @typedef {{pip: string, word: string}} Pip */

/**
 * @param {{here: string, title: unknown, cls?: string, say?: string, own?: boolean}} page own: the body says itself whether it is practice
 * @param {Office} o
 * @param {OfficeActs} act
 * @param {unknown} body
 */
export function office(page, o, act, body) {
  return html`<main class=${`sheet plain office ${page.cls ?? ""}`}>
    <header class="head"><h1 tabindex="-1">${page.title}</h1>${nav(page.here)}
      <label class=${`by ${o.byMissing ? "wanted" : ""}`}><span>${t("office.done_by")}</span><input id="by" type="text" maxlength="120" autocomplete="off" spellcheck="false" .value=${o.by} @change=${(/** @type {Event} */ e) => act.setBy(typedIn(e))}></label></header>
    ${page.own ? nothing : practice(o.practice)}
    ${lines(o, act)}
    ${page.say ? html`<p class="say" aria-live="polite">${sentence(page.say)}</p>` : nothing}
    ${body}
  </main>`;
}

/** @param {Office} o @param {OfficeActs} act */
function lines(o, act) {
  return html`<div class="tell">
    <div role="alert">${o.problem ? html`<p class="problem"><span aria-hidden="true">⊘ </span>${o.problem}</p>` : nothing}${o.byMissing ? html`<p class="problem"><span aria-hidden="true">⊘ </span>${rich("office.write_name", { field: bold(t("office.done_by")) })}</p>` : nothing}</div>
    <div role="status">${o.busy ? html`<p class="note going">${o.busy}${o.done ? `: ${o.done}` : ""} …${o.seconds && o.seconds > 1 ? html` <span aria-hidden="true">${t("office.going_for", { n: o.seconds })}</span>` : nothing}</p>` : nothing}${o.said && !o.undo ? html`<p class="note">${o.said}</p>` : nothing}</div>
    ${o.undo ? html`<div class="note take" role="status"><span>${o.undo.text}</span><button @click=${act.undo}>${o.undo.word || html`${t("office.put_back")}<small>${o.undo.take}</small>`}</button></div>` : nothing}
    ${o.pending
      ? html`<div class="notice take" role="group" aria-label=${t("office.about_to")}><span role="status">${o.pending.text}</span><span class="wait" aria-hidden="true">${t("office.noted_in", { n: o.pending.left })}</span>
          <button class="primary" @click=${act.settle}>${t("office.note_now")}</button><button @click=${act.takeBack}>${t("office.take_back")}<small>${o.pending.take}</small></button></div>`
      : nothing}
  </div>`;
}

/** @param {Event} e */
export function typedIn(e) {
  return /** @type {HTMLInputElement} */ (e.target).value;
}

export { typedIn as valueOf };

/** A standing's shape: filled, half, crossed or off, as the pips of a strip. @param {string} kind */
export function pipSvg(kind) {
  return html`<svg class="mark" viewBox="0 0 28 28" aria-hidden="true">${kind === "off"
    ? svg`<path class="y-cross" d="M6 14h16"></path>`
    : svg`<circle class=${kind === "given" ? "y-pip y-given" : "y-pip"} cx="14" cy="14" r="10"></circle>${kind === "half" ? svg`<path class="y-given" d="M14 4a10 10 0 0 1 0 20z"></path>` : kind === "cross" ? svg`<path class="y-cross" d="M3 3l22 22m0 -22l-22 22"></path>` : nothing}`}</svg>`;
}

/** @param {import("./strip.js").Shape[]} shapes @param {number} width @param {number} height @param {string} label empty: the words beside it say the same @param {string} [cls] */
export function drawing(shapes, width, height, label, cls = "") {
  return label
    ? html`<svg class=${cls} viewBox="0 0 ${width} ${height}" role="img" aria-label=${label}>${shapes.map(shape)}</svg>`
    : html`<svg class=${cls} viewBox="0 0 ${width} ${height}" aria-hidden="true">${shapes.map(shape)}</svg>`;
}

/**
 * A field with its label.
 * @param {string} name @param {string} label @param {string} value
 * @param {{type?: string, hint?: string, required?: boolean, most?: number, min?: string, max?: string, wide?: boolean}} [how]
 */
export function field(name, label, value, { type = "text", hint = "", required = false, most = 120, min = "", max = "", wide = false } = {}) {
  if (type === "date") return dateField({ name, label, value, hint, required, min, max });
  return html`<label class=${`field ${wide ? "wide" : ""}`}><span>${label}${hint ? html` <small>${hint}</small>` : nothing}</span>${type === "area"
    ? html`<textarea name=${name} rows="3" maxlength=${most} ?required=${required} .value=${value}></textarea>`
    : html`<input name=${name} type=${type} maxlength=${type === "text" ? most : nothing} min=${min || nothing} max=${max || nothing} ?required=${required} autocomplete="off" .value=${value}>`}</label>`;
}

/**
 * One of a few, as buttons.
 * @param {string} name @param {string} legend @param {string} value @param {[string, unknown][]} options
 */
export function either(name, legend, value, options) {
  return html`<fieldset class="field"><legend>${legend}</legend><div class="either">${options.map(
    ([v, word]) => html`<label class="option"><input type="radio" name=${name} value=${v} ?checked=${v === value} required><span>${word}</span></label>`,
  )}</div></fieldset>`;
}

/** What a form holds, each name once. @param {Event} e @returns {FormData} */
export function filledIn(e) {
  e.preventDefault();
  return new FormData(/** @type {HTMLFormElement} */ (e.currentTarget));
}

/** @param {FormData} f @param {string} name */
export function textOf(f, name) {
  return String(f.get(name) ?? "").trim();
}

/** @param {string} text */
export function loading(text) {
  return html`<p class="loading">${text}</p>`;
}
