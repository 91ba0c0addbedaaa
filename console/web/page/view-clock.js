// SPDX-License-Identifier: Apache-2.0

// The box's time and the form in which a person confirms or corrects it, for
// Bench and Inputs. Pure.

import { html } from "./vendor/lit-html.js";
import { t } from "./lang.js";
import { wallAt } from "./state-inputs.js";
import { dateField } from "./view-date.js";

/** @typedef {import("./state-inputs.js").Edit} Edit */
/** @typedef {{edit: (edit: Edit) => void, now: () => number, confirm: () => void}} ClockActs now: the time of this screen, ms since 1970 */

/**
 * @param {import("./state-inputs.js").ClockShown} c
 * @param {Edit} edit
 * @param {boolean} inert
 * @param {ClockActs} act
 */
export function clockForm(c, edit, inert, act) {
  const send = (/** @type {Event} */ e) => {
    e.preventDefault();
    if (!inert) act.confirm();
  };
  const figure = html`<p class="figure"><b>${c.date} ${c.time}</b></p>`;
  if (c.wants === "") return figure;
  if (edit === null) {
    return html`<form class="clock-form asks" aria-label=${t("run.clock.confirm_date")} @submit=${send}>${figure}
      <div class="either"><button type="submit" class=${c.wants === "right" && !c.unset ? "primary" : ""} ?disabled=${inert}>${t("run.clock.right")}<small>${t("run.clock.looked")}</small></button>
        <button type="button" class=${c.unset ? "primary" : ""} ?disabled=${inert} @click=${() => act.edit({ date: c.date, time: c.time, screen: false })}>${t("run.clock.wrong")}<small>${t("run.clock.put_right")}</small></button></div></form>`;
  }
  const screen = wallAt(act.now(), c.zone);
  const now = edit.screen ? { date: screen.slice(0, 10), time: screen.slice(11, 19) } : edit;
  const change = (/** @type {"date"|"time"} */ part) => (/** @type {Event} */ e) => {
    const { value } = /** @type {HTMLInputElement} */ (e.target);
    if (value !== "") act.edit({ date: now.date, time: now.time, screen: false, [part]: value }); // empty: still being typed
  };
  return html`<form class="clock-form" aria-label=${t("run.clock.confirm_date")} @submit=${send}>
    <div class="either">${dateField({ label: t("run.clock.date"), value: now.date, required: true, disabled: inert, change: change("date") })}
      <label class="field"><span>${t("run.clock.time")}</span><input type="time" step="1" .value=${now.time} @change=${change("time")} ?disabled=${inert} required></label></div>
    <div class="either"><button type="submit" class="primary" ?disabled=${inert}>${t("run.clock.set")}<small>${t("run.clock.takes")}</small></button>
      <button type="button" ?disabled=${inert} @click=${() => act.edit({ date: "", time: "", screen: true })}>${t("run.clock.screens")}<small>${t("run.clock.then_look")}</small></button>
      <button type="button" ?disabled=${inert} @click=${() => act.edit(null)}>${t("run.clock.leave")}<small>${t("run.clock.as_it_is")}</small></button></div>
  </form>`;
}
