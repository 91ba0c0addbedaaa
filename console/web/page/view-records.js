// SPDX-License-Identifier: Apache-2.0

// The list of records and one record, for screen and paper. They show what a
// record holds and add nothing to it.

import { html, nothing } from "./vendor/lit-html.js";
import { stripSvg } from "./draw.js";
import { ofRecord, when, whoOf } from "./state-record.js";
import { marks } from "./state.js";
import { nav, practice, problemLine } from "./view-common.js";
import { agents, exercise, fault, lookUp, outcomes, prevails, proofs, reasons, remarks } from "./words.js";

/** @typedef {import("./state-record.js").Line} Line */
/** @typedef {import("./state-record.js").Full} Full */

/** @param {Line[]|null} lines @param {string} problem */
export function records(lines, problem) {
  return html`<main class="sheet plain records">
    <header class="head"><h1>Records</h1>${nav("/records")}</header>
    ${problemLine(problem)}
    ${lines === null ? (problem ? nothing : html`<p>Reading the records.</p>`) : lines.length === 0 ? html`<p class="say">No record yet. A run that is closed leaves one.</p>` : list(lines)}
  </main>`;
}

/** @param {Line[]} lines */
function list(lines) {
  return html`<div class="scroll"><table><thead><tr><th scope="col">Opened</th><th scope="col">Wearer</th><th scope="col">Facepiece</th><th scope="col">Outcome</th><th scope="col">Why</th></tr></thead>
    <tbody>${lines.map(
      (l) => html`<tr><td><a href=${`/records/${encodeURIComponent(l.run)}`}>${when(l.opened) || l.run}</a></td><td>${whoOf(l.wearer)}</td><td>${whoOf(l.facepiece)}</td>
        <td class=${`outcome ${l.outcome}`}>${outcome(l.outcome)}${l.practice ? html` <span class="stamp">practice</span>` : nothing}</td><td>${l.reason ? lookUp(reasons, l.reason) : ""}</td></tr>`,
    )}</tbody></table></div>`;
}

/** @param {string} o */
function outcome(o) {
  return html`<span aria-hidden="true">${marks[o] ?? ""}</span> ${lookUp(outcomes, o)}`;
}

/** @param {Full|null} full @param {string} problem */
export function record(full, problem) {
  if (full === null) {
    return html`<main class="sheet plain"><header class="head"><h1>Record</h1>${nav("/records")}</header>${problemLine(problem)}${problem ? nothing : html`<p>Reading the record.</p>`}</main>`;
  }
  const r = full.record;
  const { strip, frame } = ofRecord(full);
  const line = (/** @type {string} */ name, /** @type {unknown} */ value) => html`<tr><th scope="row">${name}</th><td>${value}</td></tr>`;
  const f = r.fit;
  return html`<main class="sheet plain record">
    ${practice(full.practice)}
    <header class="head"><h1>Record of a fit test</h1>${nav("/records")}</header>
    <section class="outcome-line" aria-label="Outcome"><p class=${`outcome ${r.outcome}`}>${outcome(r.outcome)}</p>
      <p>${r.reason ? lookUp(reasons, r.reason) : "Nothing was tasted through the whole test, with every dose given."}</p></section>
    <div class="strip">${stripSvg(strip, frame, "strip of the run: squeezes due and given, exercises, and the modelled hood level")}</div>
    <p class="small">Level under the hood: modelled, every squeeze adding one and everything halving in ${strip.halfLifeMs / 1000} s. An aid to see what happened, never evidence.</p>
    <div class="two"><table><tbody>
      ${line("Wearer", whoOf(full.wearer))}${line("Facepiece", whoOf(full.facepiece))}${line("Tester", full.tester)}${line("Opened", when(full.opened) || "clock not set")}
      ${line("Rules", full.rules_name || r.rules)}${line("Kind of test", `qualitative, taste, ${lookUp(agents, r.agent)}`)}
      ${line("Sensitivity test", r.screening.bin ? `tasted after ${r.screening.squeezes}${r.screening.doubtful ? ` and ${r.screening.doubtful} doubtful` : ""} squeezes: bin ${r.screening.bin}` : `${r.screening.squeezes} squeezes, no bin`)}
      ${f ? line("Initial dose", `${f.initial.given} of ${f.initial.required}${corrected(f.initial)}${listed(f.initial.remarks)}`) : nothing}
      ${f ? line("Squeezes in all", f.squeezes_total) : nothing}
      ${f ? line("Run clock", f.duration_s === null ? "not started" : `${f.duration_s.toFixed(1)} s`) : nothing}
      ${f?.taste_s != null ? line("Tasted at", `${f.taste_s.toFixed(1)} s, during ${exercise(f.taste_exercise ?? "").name.toLowerCase()}`) : nothing}
      ${f?.level ? line("Modelled level", `mean ${f.level.mean.toFixed(2)}, least ${f.level.min.toFixed(2)} of the initial dose`) : nothing}
      ${r.proof ? line("Proof", lookUp(proofs, r.proof)) : nothing}
      ${line("Wearer's button", r.inputs.supervised ? "supervised pair" : "single contact, unsupervised")}
      ${line("Inputs", `${r.inputs.squeeze} squeezes, ${r.inputs.taste} taste, ${r.inputs.step} steps, ${r.inputs.noise_edges} rejected edges`)}
      ${r.corrections?.length ? line("Corrections", r.corrections.map((c) => `${c.delta > 0 ? "one added" : "one taken back"}, ${c.top_up ? `top-up ${c.top_up}` : c.part === "initial" ? "initial dose" : "sensitivity test"}: ${c.reason}`).join("; ")) : ""}
      ${line("Faults", r.inputs.faults.length ? r.inputs.faults.map(fault).join("; ") : "none")}
      ${line("Run", full.run)}${line("Number", full.number)}${line("Hash", html`<code>${full.hash}</code>`)}
    </tbody></table>
    ${f?.top_ups.length
      ? html`<table class="doses"><thead><tr><th scope="col">Top-up</th><th scope="col">Due, s</th><th scope="col">Given</th><th scope="col">First</th><th scope="col">Done</th><th scope="col">Remarks</th></tr></thead><tbody>${f.top_ups.map(
          (d) => html`<tr><th scope="row">${d.n}</th><td>${d.due_s}</td><td>${d.given} of ${d.required}</td><td>${d.first_s == null ? "" : d.first_s.toFixed(1)}</td><td>${d.done_s == null ? "" : d.done_s.toFixed(1)}</td><td>${[
            ...d.remarks.map((x) => lookUp(remarks, x)), ...(d.doubtful ? [`${d.doubtful} doubtful`] : []),
          ].join(", ")}${corrected(d)}</td></tr>`,
        )}</tbody></table>`
      : nothing}</div>
    <p class="prevails">${full.prevails || prevails}</p>
    <p class="signs"><span>Tester</span><span>Wearer</span></p>
    <p class="noprint"><button @click=${() => print()}>Print</button></p>
  </main>`;
}

/** @param {string[]} list */
function listed(list) {
  return list.length ? `, ${list.map((x) => lookUp(remarks, x)).join(", ")}` : "";
}

/** @param {{added: number, taken: number}} d */
function corrected(d) {
  return d.added || d.taken ? ` (corrected: ${d.added} added, ${d.taken} taken back)` : "";
}
