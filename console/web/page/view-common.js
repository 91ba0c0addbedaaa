// SPDX-License-Identifier: Apache-2.0

// Parts that several screens share.

import { html, nothing } from "./vendor/lit-html.js";
import { choose, isReviewed, languages, spoken, t } from "./lang.js";
import { practised } from "./words.js";

/**
 * A sentence; what stands between stars is emphasised.
 * @param {string} text
 */
export function sentence(text) {
  return text.split("*").map((part, i) => (i % 2 ? html`<em>${part}</em>` : part));
}

/** @param {string|undefined} why */
export function practice(why) {
  return why ? html`<p class="practice"><strong>${t("run.practice")}</strong> <span>${t("run.not_a_record", { why: practised(why) })}</span></p>` : nothing;
}

/** @param {string} here */
export function nav(here) {
  const pages = ["bench", "wearer", "gallery", "day", "people", "facepieces", "kit", "records", "insight", "drill", "inputs", "settings", "help"];
  return html`<nav aria-label=${t("run.nav.pages")}>${pages.map(
    (page) => html`<a href=${`/${page}`} aria-current=${`/${page}` === here ? "page" : nothing}>${t(`run.nav.${page}`)}</a>`,
  )}<label class="speaks"><span class="quiet">${t("run.nav.language")}</span><select @change=${(/** @type {Event} */ e) => choose(/** @type {HTMLSelectElement} */ (e.target).value)}>${languages.map(
    (l) => html`<option value=${l.code} lang=${l.code} ?selected=${l.code === spoken()}>${l.name}</option>`,
  )}</select>${isReviewed() ? nothing : html`<small>${t("run.nav.unreviewed")}</small>`}</label></nav>`;
}

/** @param {{word: string, ok: boolean}[]} health */
export function healthLine(health) {
  return html`<ul class="health" aria-label=${t("run.state_of_box")}>${health.map(
    (h) => html`<li class=${h.ok ? "" : "bad"}>${h.ok ? nothing : html`<span aria-hidden="true">! </span>`}${h.word}</li>`,
  )}</ul>`;
}

/** @param {string} problem */
export function problemLine(problem) {
  return problem ? html`<p class="problem" role="alert">${problem}</p>` : nothing;
}
