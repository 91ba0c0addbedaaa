// SPDX-License-Identifier: Apache-2.0

// Controls that the Bench has near and far. Pure.

import { html } from "./vendor/lit-html.js";
import { t } from "./lang.js";

/** @typedef {import("./contract.js").Run} Run */
/** @typedef {import("./state.js").Shown} Shown */
/** @typedef {Pick<import("./view-bench.js").Acts, "verb">} Acts */

/** @param {string} k */
export const key = (/** @type {string} */ k) => html`<kbd>${k}</kbd>`;

/**
 * What a screen reader says by itself: a step, an exercise, a verdict, a run that
 * may be taken up. Counts and times are there to be read, not called out.
 * @param {Shown} s
 */
export function heard(s) {
  return html`<p class="quiet" aria-live="polite" aria-atomic="true">${s.announce}</p><p class="quiet" aria-live="polite" aria-atomic="true">${s.calls}</p>`;
}

/** @param {Shown} s @param {Acts} act */
export function stop(s, act) {
  return html`<button class="slot-stop stop danger" ?disabled=${s.stale} @click=${() => act.verb("welfare")}>${t("bench.stop")}<small>${key("S")} ${t("bench.stop_small")}</small></button>`;
}

/** @param {Run} run @param {Shown} s @param {boolean} inert @param {Acts} act */
export function goOn(run, s, inert, act) {
  return html`<button class="slot-go primary" ?disabled=${inert || s.blocked !== ""} @click=${() => act.verb("go_on")}>${t("bench.go_on")}<small>${key("G")} ${t(`bench.go.${run.stage}`)}</small></button>`;
}
