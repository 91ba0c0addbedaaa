// SPDX-License-Identifier: Apache-2.0

// The Wearer's screen: a picture in a ring of time, a word, a hint, one
// reminder. No count, no level, no verdict; the wearer's name only to be
// confirmed. Pure.

import { html, nothing } from "./vendor/lit-html.js";
import { figure } from "./draw.js";
import { spoken, t, wearerLanguages } from "./lang.js";
import { lineAt, ticksOf } from "./state-wearer.js";

/** @typedef {import("./state-wearer.js").Sees} Sees */
/** @typedef {import("./state-wearer.js").Own} Own */
/** @typedef {{digit: (d: string) => void, back: () => void, answer: (yes: boolean) => void, language: (code: string) => void}} Acts */

/**
 * @param {Sees} s
 * @param {Own} own
 * @param {string|undefined} why practice, and why
 * @param {Acts} act
 */
export function wearer(s, own, why, act) {
  return html`<main class=${`wearer w-${s.key} ${s.stale ? "stale" : ""}`}>
    ${why ? html`<p class="practice"><strong>${t("wearer.practice")}</strong> <span>${t("wearer.practice_means")}</span></p>` : nothing}
    ${s.key === "pair" ? pairing(own, act) : s.passage ? reading(s) : shown(s, own, act)}
    ${s.press ? html`<p class="press">${t(`wearer.${s.press}`)}</p>` : nothing}
  </main>`;
}

/** @param {Sees} s */
const ring = (s) => (s.left === null ? null : { of: ticksOf, left: s.left, label: t("wearer.time_left") });

/** @param {Sees} s @param {Own} own @param {Acts} act */
function shown(s, own, act) {
  const asks = s.key === "name";
  return html`<div class="pic">
      <div class="drawing">${figure(s.figure, ring(s), s.breath)}</div>
      <div class="word" aria-live="polite">
        <h1>${asks ? t("wearer.name_ask", { name: `\u2068${s.name}\u2069` }) : t(`wearer.${s.words}_title`)}</h1>
        <p class="how">${t(`wearer.${s.words}_hint`)}</p>
        ${s.breath ? html`<p class="breath"><b class=${s.breath === "in" ? "on" : ""}>${t("wearer.breathe_in")}</b> <b class=${s.breath === "out" ? "on" : ""}>${t("wearer.breathe_out")}</b></p>` : nothing}
        ${asks
          ? html`<div class="answers"><button type="button" class="primary" ?disabled=${own.answered !== ""} @click=${() => act.answer(true)}>${t("wearer.yes")}</button>
              <button type="button" ?disabled=${own.answered !== ""} @click=${() => act.answer(false)}>${t("wearer.no")}</button></div>`
          : nothing}
        ${own.unsent && (asks || s.key === "tell") ? html`<p class="said" role="alert">${t("wearer.not_sent")}</p>` : nothing}
      </div>
    </div>
    ${asks || s.key === "ready" ? languages(act) : nothing}`;
}

/** A passage to read aloud; the marked line goes on at speaking pace. @param {Sees} s */
function reading(s) {
  const lines = t(`passages.${s.passage?.id ?? "yard"}`).split("\n");
  const at = lineAt(lines, s.passage?.part ?? 0);
  return html`<div class="talk">
      <div class="aside"><div class="drawing">${figure(s.figure, ring(s))}</div>
        <div class="word" aria-live="polite"><h1>${t(`wearer.${s.words}_title`)}</h1><p class="how">${t(`wearer.${s.words}_hint`)}</p></div></div>
      <ol class="passage" tabindex="0" aria-label=${t("wearer.passage")}>${lines.map(
        (l, i) => html`<li class=${i === at ? "marked" : i < at ? "read" : ""}>${l}</li>`,
      )}</ol>
    </div>`;
}

/** @param {Own} own @param {Acts} act */
function pairing(own, act) {
  const key = (/** @type {string} */ d) => html`<button type="button" class=${`key-${d}`} @click=${() => act.digit(d)}>${d}</button>`;
  return html`<div class="pairing">
      <div class="word"><h1>${t("wearer.pair_title")}</h1><p class="how">${t("wearer.pair_hint")}</p>
        <p class="said" role="status">${own.said ? t(`wearer.pair_${own.said}`) : ""}</p></div>
      <div class="code" dir="ltr">
        <p class="slots" role="img" aria-label=${t("wearer.pair_so_far", { n: own.typed.length })}>${[0, 1, 2, 3].map((i) => html`<b class=${i === own.typed.length ? "next" : ""}>${own.typed[i] ?? ""}</b>`)}</p>
        <div class="pad">${["1", "2", "3", "4", "5", "6", "7", "8", "9", "0"].map(key)}<button type="button" class="key-back" lang=${spoken()} @click=${() => act.back()}>${t("wearer.pair_back")}</button></div>
      </div>
    </div>
    ${languages(act)}`;
}

/** @param {Acts} act */
function languages(act) {
  return html`<div class="languages" role="group" aria-label=${t("wearer.language")}>${wearerLanguages.map(
    (l) => html`<button type="button" lang=${l.code} aria-pressed=${l.code === spoken() ? "true" : "false"} @click=${() => act.language(l.code)}>${l.name}</button>`,
  )}</div>`;
}
