// SPDX-License-Identifier: Apache-2.0

// The Bench from across the room: one number, the word of what it counts, the
// exercise and its time left, or the verdict. Pure.

import { html, nothing } from "./vendor/lit-html.js";
import { t } from "./lang.js";
import { goOn, heard, key, stop } from "./view-controls.js";
import { practice } from "./view-common.js";
import { prevails } from "./words.js";

/** @typedef {import("./contract.js").Snapshot} Snapshot */
/** @typedef {import("./contract.js").Run} Run */
/** @typedef {import("./state.js").Shown} Shown */

/**
 * @param {Snapshot} snap
 * @param {Run} run
 * @param {Shown} s
 * @param {boolean} inert
 * @param {unknown} lines  what the Bench says above everything: stale, asleep, watching
 * @param {Pick<import("./view-bench.js").Acts, "verb"|"far"|"prove"|"close">} act
 */
export function distance(snap, run, s, inert, lines, act) {
  const big = s.big.kind === "none" ? { kind: "word", text: s.title, label: "", stop: false, mark: "" } : s.big;
  const word = s.verdict?.word ?? big.text;
  const under = s.verdict ? s.verdict.reason : s.wrongPerson ? t("bench.wrong", { name: run.wearer }) : s.blocked || big.label;
  return html`<main class=${`sheet distance at-${s.stage} ${s.stale ? "stale" : ""}`} aria-label=${t("bench.distance_view")} tabindex="-1">
    <div class="top">${practice(snap.practice || run.practice)}</div>
    <h1 class="quiet">${t("bench.title")}</h1>
    ${lines}${heard(s)}
    <section class="far" aria-label=${t(s.verdict ? "bench.verdict" : "bench.now")}>
      <p class=${`huge ${big.kind} signs-${Math.min(12, word.length)} ${big.stop ? "failed" : ""}`}>${big.mark ? html`<i aria-hidden="true">${big.mark}</i> ` : nothing}${word}</p>
      <p class="what">${under}</p>
      ${s.verdict ? html`<div class="after">${s.verdict.proof ? html`<p>${s.verdict.proof}</p>` : nothing}${s.verdict.next ? html`<p>${s.verdict.next}</p>` : nothing}<p class="prevails">${prevails(run.prevails)}</p></div>` : nothing}
    </section>
    ${s.exercise ? html`<p class="doing"><span>${s.exercise.name}</span> <b>${s.exercise.left}</b></p>` : s.verdict || s.big.kind === "none" ? nothing : html`<p class="doing"><span>${s.title}</span></p>`}
    <footer class="foot" aria-label=${t("bench.controls")}>
      <button class="slot-away" @click=${() => act.far(false)}>${t("bench.near")}<small>${key("D")} ${t("bench.near_small")}</small></button>
      ${s.goOn ? goOn(run, s, inert, act) : nothing}
      ${s.may.stop ? stop(s, act) : nothing}
      ${s.verdict?.mayProve ? html`<button class="slot-count long" ?disabled=${inert} @click=${act.prove}>${t("bench.proof")}<small>${key("P")} ${t("bench.proof_small")}</small></button>` : nothing}
      ${s.verdict && run.stage === "over" ? html`<button class="slot-go primary" ?disabled=${inert} @click=${act.close}>${t("bench.next")}<small>${key("N")}</small></button>` : nothing}
    </footer>
  </main>`;
}
