// SPDX-License-Identifier: Apache-2.0

// The page Inputs: every contact as the box sees it, the checks that a person
// does with their own hands, the clock and the box. Pure.

import { html, nothing } from "./vendor/lit-html.js";
import { boxFacts } from "./state-inputs.js";
import { clockForm } from "./view-clock.js";
import { healthLine, nav, practice, problemLine, sentence } from "./view-common.js";
import { simContacts, wire } from "./view-contacts.js";
import { cautions, latency as latencyWords, parts, tones } from "./words-inputs.js";
import { lookUp } from "./words.js";

/** @typedef {import("./contract.js").Snapshot} Snapshot */
/** @typedef {import("./state.js").Shown} Shown */
/** @typedef {import("./state-inputs.js").InputsShown} InputsShown */
/**
 * @typedef {object} Own
 * @property {import("./contract.js").Box|null} box
 * @property {string} boxProblem  why the box's state is old or absent, in words
 * @property {import("./state-inputs.js").Edit} clock
 */
/** @typedef {Own & import("./driver.js").Driven} Ui */
/**
 * @typedef {object} Acts
 * @property {(verb: "check_begin"|"check_end"|"latency_begin"|"latency_end"|"learn_end") => void} verb
 * @property {(line: "squeeze"|"step") => void} learn
 * @property {(cue: string) => void} tone
 * @property {() => void} takeOver
 * @property {(line: string, closed: boolean) => void} contact
 * @property {import("./view-clock.js").ClockActs} clock
 */

/**
 * @param {Snapshot|null} snap
 * @param {Shown|null} s
 * @param {InputsShown|null} i
 * @param {Ui} ui
 * @param {Acts} act
 */
export function inputs(snap, s, i, ui, act) {
  if (snap === null || s === null || i === null) {
    return html`<main class="sheet plain"><h1>Inputs</h1>${problemLine(ui.problem)}<p class="say" aria-live="polite">Looking for the box.</p></main>`;
  }
  const inert = s.stale || ui.asleep || !s.driving;
  const asking = i.mode !== "idle";
  const ill = ui.box ? boxFacts(ui.box).filter((f) => !f.ok) : [];
  const early = i.clock.unset;
  return html`<main class=${`sheet plain inputs ${asking ? "asking" : ""} ${s.stale ? "stale" : ""}`}>
    <div class="top">${practice(snap.practice)}${ui.sim ? simContacts(ui, inert, act.contact) : nothing}</div>
    <header class="head"><h1>Inputs</h1>${nav("/inputs")}${healthLine(s.health)}</header>
    ${banner(s, ui, act)}
    ${asking
      ? task(i, inert, act)
      : html`<p class="say" aria-live="polite">${sentence(i.sentence)}</p>
        ${i.wrong.map((w) => html`<p class="refused" role="status"><span aria-hidden="true">⊘ </span>${w}.</p>`)}
        ${ill.map((f) => html`<p class="refused" role="status"><span aria-hidden="true">⊘ </span>${f.name}: ${f.of} ${f.word}.</p>`)}
        ${i.check?.result === "failed" ? found(i.check.found, "Found") : nothing}
        ${early ? clock(i, ui, inert, act) : nothing}
        ${wires(i)}
        <div class="two"><div class="trial">${checking(i, inert || i.runOpen, act)}${learning(snap.inputs.learned, inert || i.runOpen, act)}</div><div class="trial">${sounding(i, inert || i.runOpen, act)}</div></div>
        <div class=${early ? "alone" : "two"}>${early ? nothing : clock(i, ui, inert, act)}${box(ui)}</div>
        ${careful()}`}
  </main>`;
}

/** @param {Shown} s @param {Ui} ui @param {Acts} act */
function banner(s, ui, act) {
  return html`<div class="lines">
    ${problemLine(ui.problem)}
    ${s.stale
      ? html`<p class="notice" role="status"><strong>No word from the box.</strong> What you see is ${s.age}.</p>`
      : ui.asleep
        ? html`<p class="notice" role="status"><strong>Back again.</strong> Touch anywhere once to wake the controls.</p>`
        : s.driving
          ? nothing
          : html`<p class="notice" role="status"><strong>Watching.</strong> ${s.driven ? "Another page drives." : "Nobody drives."} <button @click=${act.takeOver}>Take over</button></p>`}
    ${ui.said ? html`<p class="note" role="status">${ui.said}</p>` : nothing}
  </div>`;
}

/** @param {InputsShown} i */
function wires(i) {
  return html`<section class="wires" aria-label="Contacts"><h2 class="quiet">Contacts</h2>
    <ul>${i.contacts.map(
      (c) => html`<li class=${`contact ${c.closed ? "made" : ""} ${c.asked ? "asked-for" : ""}`} aria-label=${c.name}>
        <span class="name"><b>${c.name}</b><small class="source">${c.source}</small></span>${wire(c.closed)}<strong>${c.word}</strong><span class="moved">${c.moved}</span>
        <small class="counts">${c.counts}</small></li>`,
    )}</ul>
    <p class=${i.button.ok ? "watch" : "watch bad"}>${i.button.name}: <b>${i.button.of}</b>; ${i.button.word}. <a href="#cautions">Cautions</a></p>
  </section>`;
}

/** @param {InputsShown} i @param {boolean} inert @param {Acts} act */
function task(i, inert, act) {
  const c = i.check;
  const t = i.latency;
  const checkMode = i.mode === "check" && c !== null;
  const of = c?.steps ?? [];
  return html`<section class="ask" aria-label="To do now">
      <p class="do" aria-live="assertive">${sentence(i.sentence)}</p>
      ${checkMode
        ? html`<p class="left">${c.left} left for this</p>
          <ol class="steps" aria-label=${`request ${of.findIndex((x) => x.state === "now") + 1} of ${of.length}`}>${of.map((x) => html`<li class=${`step-${x.state}`}><i></i><span>${x.name}</span></li>`)}</ol>
          ${found(c.found, "Found so far")}`
        : nothing}
      ${i.mode === "latency" && t
        ? html`<div class="pips of-12" role="img" aria-label=${`${t.pips.filter((p) => p === "given").length} of ${t.pips.length} tones`}>${t.pips.map((p) => html`<i class=${`pip ${p}`}></i>`)}</div><p class="left">${t.pips.length} tones at odd times. Listen, do not look: only the first press after each counts.</p>`
        : nothing}
      ${i.mode === "learn" ? html`<p class="left">The next key that is pressed on a pedal becomes this contact.</p>` : nothing}
    </section>
    ${wires(i)}
    <footer class="foot"><span class="gap"></span><button ?disabled=${inert} @click=${() => act.verb(i.mode === "check" ? "check_end" : i.mode === "latency" ? "latency_end" : "learn_end")}>
      ${i.mode === "check" ? html`End the check<small>it then says nothing</small>` : i.mode === "latency" ? html`End the test<small>without a figure</small>` : html`Leave it<small>nothing is learned</small>`}</button></footer>`;
}

/** @param {string[]} all @param {string} label */
function found(all, label) {
  return all.length ? html`<ul class="found" aria-label=${label}>${all.map((f) => html`<li>${f}</li>`)}</ul>` : nothing;
}

/** @param {InputsShown} i @param {boolean} inert @param {Acts} act */
function checking(i, inert, act) {
  const c = i.check;
  return html`<section aria-label="Wires"><h2>Is a wire crossed?</h2>
    ${c === null || c.result === ""
      ? html`<p>The box asks for one movement at a time and looks which contact moves.</p>`
      : c.result === "passed"
        ? html`<p class="result"><span aria-hidden="true">✓</span> <b>No wire is crossed.</b> Each movement moved its own contact, and came back.</p>`
        : c.result === "stopped"
          ? html`<p class="result"><span aria-hidden="true">–</span> <b>Ended before it was complete.</b> It says nothing.</p>`
          : html`<p class="result"><span aria-hidden="true">✕</span> <b>Not right.</b> What was found stands above.</p>`}
    <div class="either"><button class=${c?.result === "passed" ? "" : "primary"} ?disabled=${inert} @click=${() => act.verb("check_begin")}>${c === null ? "Check the wires" : "Check again"}<small>about a minute</small></button></div></section>`;
}

/** @param {InputsShown} i @param {boolean} inert @param {Acts} act */
function sounding(i, inert, act) {
  const t = i.latency;
  return html`<section aria-label="Sound"><h2>Is it heard?</h2>
    <div class="either tones" role="group" aria-label="Cues to try">${tones.map(([cue, name, means]) => html`<button ?disabled=${inert} @click=${() => act.tone(cue)}>${name}<small>${means}</small></button>`)}</div>
    <h2>How late is it?</h2>
    ${t === null
      ? html`<p>${latencyWords.what}</p>`
      : t.figure
        ? html`<p class="figure"><b>${t.figure}</b> <span>${t.detail}</span></p><p>${t.text}${t.when ? html` <span class="when">Measured ${t.when}.</span>` : nothing}</p>`
        : html`<p>${t.text}</p>`}
    <div class="either"><button ?disabled=${inert} @click=${() => act.verb("latency_begin")}>${t === null ? "Measure it" : "Measure again"}<small>press when you hear it</small></button></div></section>`;
}

/** @param {string} learned @param {boolean} inert @param {Acts} act */
function learning(learned, inert, act) {
  return html`<section aria-label="Pedals"><h2>Which pedal is which?</h2>
    <p>A pedal on a USB plug is learned by pressing it. Contacts on wires need none of this.</p>
    ${learned ? html`<p class="result" role="status">Last time: ${learned}.</p>` : nothing}
    <div class="either"><button ?disabled=${inert} @click=${() => act.learn("squeeze")}>Learn for squeezes<small>then press it once</small></button>
      <button ?disabled=${inert} @click=${() => act.learn("step")}>Learn for step<small>then press it once</small></button></div></section>`;
}

/** @param {InputsShown} i @param {Ui} ui @param {boolean} inert @param {Acts} act */
function clock(i, ui, inert, act) {
  const c = i.clock;
  return html`<section class=${c.ok ? "clock" : "clock unset"} aria-label="Clock"><h2>Clock</h2>
    <p>${c.ok ? nothing : html`<span aria-hidden="true">! </span>`}${sentence(`*${c.word.charAt(0).toUpperCase()}${c.word.slice(1)}*`)}; ${c.trust}; ${c.steps}.</p>
    ${clockForm(c, ui.clock, inert || i.runOpen, act.clock)}</section>`;
}

/** @type {Record<string, string>} */
const partMarks = { loaded: "✓", absent: "–", failed: "✕" };

/** @param {Ui} ui */
function box(ui) {
  const b = ui.box;
  return html`<section class="box" aria-label="Box"><h2>Box</h2>
    ${ui.boxProblem ? html`<p class="note" role="status">${ui.boxProblem}</p>` : nothing}
    ${b === null
      ? html`<p>${ui.boxProblem ? "" : "Asking the box."}</p>`
      : html`<dl>${boxFacts(b).map((f) => html`<div class=${f.ok ? "" : "bad"}><dt>${f.name}</dt><dd>${f.of ? html`<b>${f.of}</b> ` : nothing}${f.ok ? nothing : html`<span aria-hidden="true">! </span>`}${f.word}</dd></div>`)}</dl>
        <h3>What came up</h3>
        <ul class="parts">${b.parts.map((p) => html`<li class=${p.state}><span aria-hidden="true">${partMarks[p.state] ?? "?"}</span> <b>${p.name}</b> ${lookUp(parts, p.state)}${p.reason ? `: ${p.reason}` : ""}</li>`)}</ul>`}
  </section>`;
}

function careful() {
  return html`<section class="careful" id="cautions" aria-label="Cautions"><h2>Cautions</h2>
    <ul>${cautions.map(([word, text]) => html`<li><b>${word}.</b> ${text}</li>`)}</ul></section>`;
}
