// SPDX-License-Identifier: Apache-2.0

// A field for a day. Pure.

import { html, nothing } from "./vendor/lit-html.js";
import { dayIn } from "./lang.js";

/**
 * A browser shows a day in the order of its own language, whatever the page's:
 * 09/14 on one is 14.09 on the next. So the day stands beside the label too, as
 * the pages write it everywhere else.
 * @param {{label: string, value: string, name?: string, hint?: string, required?: boolean, disabled?: boolean, min?: string, max?: string, change?: (e: Event) => void}} how value: as the box writes it, 2026-09-14; empty: none
 */
export function dateField({ label, value, name = "", hint = "", required = false, disabled = false, min = "", max = "", change }) {
  return html`<label class="field"><span>${label}${hint ? html` <small>${hint}</small>` : nothing} <b class="day-read" aria-hidden="true" .textContent=${dayIn(value)}></b></span><input type="date" name=${name || nothing} min=${min || nothing} max=${max || nothing} ?required=${required} ?disabled=${disabled} autocomplete="off" .value=${value} @input=${readBack} @change=${change ?? nothing}></label>`;
}

/** What was typed, before anybody asks for it. @param {Event} e */
function readBack(e) {
  const input = /** @type {HTMLInputElement} */ (e.target);
  const read = input.closest("label")?.querySelector(".day-read");
  if (read) read.textContent = dayIn(input.value);
}
