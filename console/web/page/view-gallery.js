// SPDX-License-Identifier: Apache-2.0

// The Gallery: trainers watch, names masked, nothing to press.

import { html, nothing } from "./vendor/lit-html.js";
import { stripSvg } from "./draw.js";
import { around, ofRun, wide } from "./strip.js";
import { healthLine, nav, practice, problemLine, sentence } from "./view-common.js";
import { agents, lookUp, remarks, stages } from "./words.js";

/**
 * @param {import("./contract.js").Snapshot|null} snap
 * @param {import("./state.js").Shown|null} s
 * @param {{size: "wide"|"low"|"narrow", problem: string}} ui
 */
export function gallery(snap, s, ui) {
  if (snap === null || s === null) return html`<main class="sheet plain"><h1>Gallery</h1>${problemLine(ui.problem)}<p class="say" aria-live="polite">Looking for the box.</p></main>`;
  const run = snap.run;
  return html`<main class=${`sheet plain gallery ${s.stale ? "stale" : ""}`}>
    ${practice(snap.practice)}
    <header class="head"><h1>Gallery</h1>${nav("/gallery")}${healthLine(s.health)}</header>
    ${problemLine(ui.problem)}
    ${s.stale ? html`<p class="notice" role="status"><strong>No word from the box.</strong> What you see is ${s.age}.</p>` : nothing}
    ${run === null ? html`<p class="say" aria-live="polite">No run is open.</p>` : one(run, s, ui)}
  </main>`;
}

/** @param {import("./contract.js").Run} run @param {import("./state.js").Shown} s @param {{size: string}} ui */
function one(run, s, ui) {
  const strip = ofRun(run, s.clockMs, s.big.mark);
  const frame = ui.size === "narrow" ? around(strip, 366, 190) : { ...wide, height: 180 };
  const noted = run.top_ups.filter((d) => d.remarks.length > 0);
  return html`<article class="watched">
    <h2><span>${lookUp(stages, run.stage)}</span> ${s.exercise ? html`<span>${s.exercise.name}, ${s.exercise.left}</span>` : nothing}</h2>
    <p class="about"><span>A wearer</span><span>${run.facepiece}</span><span>${lookUp(agents, run.agent)}${run.screening.bin ? `, bin ${run.screening.bin}` : ""}</span><span>${run.rules}</span></p>
    <p class="say" aria-live="polite">${sentence(s.verdict ? s.verdict.word : s.sentence)}</p>
    ${s.verdict ? html`<p>${s.verdict.reason}</p>` : html`<p class="detail"><b>${s.big.text}</b> ${s.big.label} <span>${s.title}</span> <span>${s.detail}</span></p>`}
    <div class="strip">${stripSvg(strip, frame, "strip of the run: squeezes due and given, exercises, and the modelled hood level")}</div>
    <h3>Remarks</h3>
    ${noted.length === 0
      ? html`<p>None so far.</p>`
      : html`<ul>${noted.map((d) => html`<li>Top-up ${d.n}: ${d.remarks.map((r) => lookUp(remarks, r)).join(", ")}</li>`)}</ul>`}
    ${s.faults.length ? html`<p>Inputs: ${s.faults.join("; ")}</p>` : nothing}
  </article>`;
}
