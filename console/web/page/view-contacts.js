// SPDX-License-Identifier: Apache-2.0

// Contacts on a screen: those of the simulated board to press, and any of them
// as a drawing. Pure.

import { html, svg } from "./vendor/lit-html.js";
import { t } from "./lang.js";

/**
 * @param {{contacts: string[]}} ui
 * @param {boolean} inert
 * @param {(line: string, closed: boolean) => void} press
 */
export function simContacts(ui, inert, press) {
  const one = (/** @type {string} */ line, /** @type {string} */ name, /** @type {string} */ key) => {
    const held = ui.contacts.includes(line);
    return html`<button class=${held ? "held" : ""} aria-pressed=${held ? "true" : "false"} ?disabled=${inert && !held}
      @pointerdown=${(/** @type {PointerEvent} */ e) => {
        /** @type {Element} */ (e.currentTarget).setPointerCapture(e.pointerId);
        press(line, true);
      }} @pointerup=${() => press(line, false)} @pointercancel=${() => press(line, false)} @lostpointercapture=${() => press(line, false)}
      @contextmenu=${(/** @type {Event} */ e) => e.preventDefault()}>${name} <kbd>${key}</kbd></button>`;
  };
  return html`<div class="contacts" role="group" aria-label=${t("run.sim.contacts")}><span>${t("run.sim.simulated")}</span>${one("squeeze", t("run.sim.bulb"), "B")}${one("step", t("run.sim.step"), "G")}${one("taste", t("run.sim.button"), "T")}</div>`;
}

/**
 * A wire with a blade in it: down when closed, lifted when open.
 * @param {boolean} closed
 */
export function wire(closed) {
  return html`<svg class="wire" viewBox="0 0 240 44" aria-hidden="true">
    ${svg`<path class="w-wire" d="M4 30H92M156 30H236"></path><path class="w-blade" d=${closed ? "M92 30H156" : "M92 30L146 6"}></path>`}
    ${svg`<circle class="w-end" cx="92" cy="30" r="6"></circle><circle class=${closed ? "w-end w-made" : "w-end"} cx="156" cy="30" r="6"></circle>`}
  </svg>`;
}
