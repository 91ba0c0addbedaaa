// SPDX-License-Identifier: Apache-2.0

// The Wearer's screen: a picture, a word, a hint, twelve ticks, one reminder.
// No count, no level, no verdict, no name.

import { html, nothing } from "./vendor/lit-html.js";
import { figure } from "./draw.js";
import { practice } from "./view-common.js";
import { exercise, lookUp, wearer as words } from "./words.js";

/**
 * @param {ReturnType<typeof import("./state.js").wearerShown>} s
 * @param {string|undefined} why practice, and why
 */
export function wearer(s, why) {
  const said = words[s.key] ?? { title: lookUp({}, s.key), hint: "", press: "" };
  const ex = s.exercise ? exercise(s.exercise) : null;
  return html`<main class=${`wearer ${s.stale ? "stale" : ""}`}>
    ${practice(why)}
    <div class="pic">
      <div class="drawing">${figure(s.exercise || s.key)}</div>
      <div class="word" aria-live="polite"><h1>${ex ? ex.title : said.title}</h1><p class="how">${ex ? ex.hint : said.hint}</p>
        ${s.breath ? html`<div class="breath"><span class=${`lung ${s.breath}`} aria-hidden="true"></span><b>${s.breath === "in" ? "Breathe in" : "Breathe out"}</b></div>` : nothing}
        ${s.ticks === null ? nothing : html`<div class="ticks" role="img" aria-label="time left">${Array.from({ length: s.of }, (_, i) => html`<i class=${i < s.of - (s.ticks ?? 0) ? "off" : ""}></i>`)}</div>`}
      </div>
    </div>
    <p class="press">${said.press}</p>
  </main>`;
}
