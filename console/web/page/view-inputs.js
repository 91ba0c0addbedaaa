// SPDX-License-Identifier: Apache-2.0

// The page Inputs: every contact as the box sees it, the checks that a person
// does with their own hands, the clock and the box. Pure.

import { html, nothing } from "./vendor/lit-html.js";
import { retold, t } from "./lang.js";
import { boxFacts } from "./state-inputs.js";
import { clockForm } from "./view-clock.js";
import { turning } from "./view-sound.js";
import { healthLine, nav, practice, problemLine, sentence } from "./view-common.js";
import { simContacts, wire } from "./view-contacts.js";
import { bold, rich } from "./view-words.js";
import { cautions, latency as latencyWords, parts, tones } from "./words-inputs.js";
import { lookUp, partName, partWhy } from "./words.js";

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
 * @property {(verb: "check_begin"|"check_end"|"latency_begin"|"latency_end"|"learn_end"|"calibrate_begin"|"calibrate_end") => void} verb
 * @property {(line: "squeeze"|"step") => void} learn
 * @property {(cue: string) => void} tone
 * @property {(verb: "volume"|"mute", to: {volume?: number, muted?: boolean}) => void} turn
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
    return html`<main class="sheet plain"><h1>${t("inputs.title")}</h1>${problemLine(ui.problem)}<p class="say" aria-live="polite">${t("inputs.looking")}</p></main>`;
  }
  const inert = s.stale || ui.asleep || !s.driving;
  const asking = i.mode !== "idle";
  const ill = ui.box ? boxFacts(ui.box).filter((f) => !f.ok) : [];
  const early = i.clock.unset;
  return html`<main class=${`sheet plain inputs ${asking ? "asking" : ""} ${s.stale ? "stale" : ""}`}>
    <div class="top">${practice(snap.practice)}${ui.sim ? simContacts(ui, inert, act.contact) : nothing}</div>
    <header class="head"><h1>${t("inputs.title")}</h1>${nav("/inputs")}${healthLine(s.health)}</header>
    ${banner(s, ui, act)}
    ${asking
      ? task(i, inert, act)
      : html`<p class="say" aria-live="polite">${sentence(i.sentence)}</p>
        ${i.wrong.map((w) => html`<p class="refused" role="status"><span aria-hidden="true">⊘ </span>${w}.</p>`)}
        ${ill.map((f) => html`<p class="refused" role="status"><span aria-hidden="true">⊘ </span>${f.name}: ${f.of} ${f.word}.</p>`)}
        ${i.check?.result === "failed" ? found(i.check.found, t("inputs.found")) : nothing}
        ${early ? clock(i, ui, inert, act) : nothing}
        ${wires(i)}
        <div class="two"><div class="trial">${checking(i, inert || i.runOpen, act)}${squeezing(i, inert || i.runOpen, act)}${learning(snap.inputs.learned, inert || i.runOpen, act)}</div><div class="trial">${sounding(i, inert || i.runOpen, act, turning(snap, inert, act.turn))}</div></div>
        <div class=${early ? "alone" : "two"}>${early ? nothing : clock(i, ui, inert, act)}${box(ui)}</div>
        ${careful()}`}
  </main>`;
}

/** @param {Shown} s @param {Ui} ui @param {Acts} act */
function banner(s, ui, act) {
  return html`<div class="lines">
    ${problemLine(ui.problem)}
    ${s.stale
      ? html`<p class="notice"><strong role="status">${t("inputs.no_word")}</strong> ${t("inputs.no_word_age", { age: s.age })}</p>`
      : ui.asleep
        ? html`<p class="notice" role="status"><strong>${t("inputs.back")}</strong> ${t("inputs.back_touch")}</p>`
        : s.driving
          ? nothing
          : html`<p class="notice" role="status"><strong>${t("inputs.watching")}</strong> ${s.driven ? t("inputs.another_drives") : t("inputs.nobody_drives")} <button @click=${act.takeOver}>${t("inputs.take_over")}</button></p>`}
    ${ui.said ? html`<p class="note" role="status">${ui.said}</p>` : nothing}
  </div>`;
}

/** @param {InputsShown} i */
function wires(i) {
  return html`<section class="wires" aria-label=${t("inputs.contacts_title")}><h2 class="quiet">${t("inputs.contacts_title")}</h2>
    <ul>${i.contacts.map(
      (c) => html`<li class=${`contact ${c.closed ? "made" : ""} ${c.asked ? "asked-for" : ""}`} aria-label=${c.name}>
        <span class="name"><b>${c.name}</b><small class="source">${c.source}</small></span>${wire(c.closed)}<strong>${c.word}</strong><span class="moved">${c.moved}</span>
        <small class="counts">${c.counts}</small></li>`,
    )}</ul>
    <p class=${i.button.ok ? "watch" : "watch bad"}>${i.button.name}: <b>${i.button.of}</b>; ${i.button.word}. <a href="#cautions">${t("inputs.cautions_title")}</a></p>
  </section>`;
}

/** What ends each thing that is under way. */
const endVerbs = /** @type {const} */ ({ idle: "learn_end", check: "check_end", latency: "latency_end", learn: "learn_end", bulb: "calibrate_end" });

/** The calibration under way. @param {import("./state-inputs.js").BulbShown} b */
function filling(b) {
  return html`${b.stage === "rest"
    ? html`<p class="left">${t("inputs.bulb.rest_how")}</p>`
    : html`<div class="pips of-10 once" role="img" aria-label=${t("inputs.bulb.given", { given: b.done, of: b.pips.length })}>${b.pips.map((p) => html`<i class=${`pip ${p}`}></i>`)}</div>`}
    <p class="eye">${rich("inputs.bulb.eye", {}, bold)}</p>
    ${b.stage === "rest" ? nothing : html`<p class="left">${t("inputs.bulb.pace")}</p>`}
    <p class="left">${t("inputs.left", { time: b.left })}</p>`;
}

/** @param {InputsShown} i @param {boolean} inert @param {Acts} act */
function task(i, inert, act) {
  const c = i.check;
  const m = i.latency;
  const checkMode = i.mode === "check" && c !== null;
  const of = c?.steps ?? [];
  return html`<section class="ask" aria-label=${t("inputs.to_do")}>
      <p class="do" aria-live="assertive">${sentence(i.sentence)}</p>
      ${checkMode
        ? html`<p class="left">${t("inputs.left", { time: c.left })}</p>
          <ol class="steps" aria-label=${t("inputs.request", { i: of.findIndex((x) => x.state === "now") + 1, of: of.length })}>${of.map((x) => html`<li class=${`step-${x.state}`}><i></i><span>${x.name}</span></li>`)}</ol>
          ${found(c.found, t("inputs.found_so_far"))}`
        : nothing}
      ${i.mode === "latency" && m
        ? html`<div class="pips of-12" role="img" aria-label=${t("inputs.tones_done", { given: m.pips.filter((p) => p === "given").length, of: m.pips.length })}>${m.pips.map((p) => html`<i class=${`pip ${p}`}></i>`)}</div><p class="left">${t("inputs.tones_left", { n: m.pips.length })}</p>`
        : nothing}
      ${i.mode === "learn" ? html`<p class="left">${t("inputs.learn_now")}</p>` : nothing}
      ${i.mode === "bulb" && i.bulb ? filling(i.bulb) : nothing}
    </section>
    ${i.mode === "bulb" ? nothing : wires(i)}
    <footer class="foot"><span class="gap"></span><button ?disabled=${inert} @click=${() => act.verb(endVerbs[i.mode])}>
      ${i.mode === "bulb" ? html`${t("inputs.bulb.end")}<small>${t("inputs.nothing_learned")}</small>` : i.mode === "check" ? html`${t("inputs.end_check")}<small>${t("inputs.then_nothing")}</small>` : i.mode === "latency" ? html`${t("inputs.end_test")}<small>${t("inputs.without_figure")}</small>` : html`${t("inputs.leave")}<small>${t("inputs.nothing_learned")}</small>`}</button></footer>`;
}

/** @param {string[]} all @param {string} label */
function found(all, label) {
  return all.length ? html`<ul class="found" aria-label=${label}>${all.map((f) => html`<li>${f}</li>`)}</ul>` : nothing;
}

/** @param {InputsShown} i @param {boolean} inert @param {Acts} act */
function checking(i, inert, act) {
  const c = i.check;
  return html`<section aria-label=${t("inputs.wires")}><h2>${t("inputs.crossed_question")}</h2>
    ${c === null || c.result === ""
      ? html`<p>${t("inputs.crossed_how")}</p>`
      : c.result === "passed"
        ? html`<p class="result"><span aria-hidden="true">✓</span> ${rich("inputs.check.passed", {}, bold)}</p>`
        : c.result === "stopped"
          ? html`<p class="result"><span aria-hidden="true">–</span> ${rich("inputs.check.stopped", {}, bold)}</p>`
          : html`<p class="result"><span aria-hidden="true">✕</span> ${rich("inputs.check.failed", {}, bold)}</p>`}
    <div class="either"><button class=${c?.result === "passed" ? "" : "primary"} ?disabled=${inert} @click=${() => act.verb("check_begin")}>${c === null ? t("inputs.check_wires") : t("inputs.check_again")}<small>${t("inputs.about_a_minute")}</small></button></div></section>`;
}

/** @param {InputsShown} i @param {boolean} inert @param {Acts} act @param {unknown} volume */
function sounding(i, inert, act, volume) {
  const m = i.latency;
  return html`<section aria-label=${t("inputs.sound_title")}><h2>${t("inputs.heard_question")}</h2>
    <div class="either tones" role="group" aria-label=${t("inputs.cues")}>${tones().map(([cue, name, means]) => html`<button ?disabled=${inert} @click=${() => act.tone(cue)}>${name}<small>${means}</small></button>`)}</div>
    ${volume}
    <h2>${t("inputs.late_question")}</h2>
    ${m === null
      ? html`<p>${latencyWords.what}</p>`
      : m.figure
        ? html`<p class="figure"><b>${m.figure}</b> <span>${m.detail}</span></p><p>${m.text}${m.when ? html` <span class="when">${t("inputs.measured", { when: m.when })}</span>` : nothing}</p>`
        : html`<p>${m.text}</p>`}
    <div class="either"><button ?disabled=${inert} @click=${() => act.verb("latency_begin")}>${m === null ? t("inputs.measure") : t("inputs.measure_again")}<small>${t("inputs.heard_press")}</small></button></div></section>`;
}

/** The bulb's sensor; nothing without one. @param {InputsShown} i @param {boolean} inert @param {Acts} act */
function squeezing(i, inert, act) {
  const b = i.bulb;
  if (b === null) return nothing;
  return html`<section aria-label=${t("inputs.bulb.title")}><h2>${t("inputs.bulb.question")}</h2>
    ${b.stage === "done"
      ? html`<p class="result" role="status"><span aria-hidden="true">✓</span> ${rich("inputs.bulb.done", {}, bold)}</p>`
      : b.stage === "unkept"
        ? html`<p class="result" role="status"><span aria-hidden="true">!</span> ${rich("inputs.bulb.unkept", {}, bold)} ${b.why}</p>`
        : b.stage === "refused"
          ? html`<p class="result" role="status"><span aria-hidden="true">–</span> ${rich("inputs.bulb.refused", {}, bold)} ${b.why}</p>`
          : html`<p>${t("inputs.bulb.how")}</p>`}
    ${b.beside ? html`<p class="beside">${b.beside}</p>` : nothing}
    <p class="when">${b.kept}</p>
    <div class="either"><button class=${b.known ? "" : "primary"} ?disabled=${inert} @click=${() => act.verb("calibrate_begin")}>${b.stage === "" ? t("inputs.bulb.begin") : t("inputs.bulb.again")}<small>${t("inputs.bulb.takes")}</small></button></div></section>`;
}

/** @param {string} learned @param {boolean} inert @param {Acts} act */
function learning(learned, inert, act) {
  return html`<section aria-label=${t("inputs.pedals")}><h2>${t("inputs.pedal_question")}</h2>
    <p>${t("inputs.pedal_how")}</p>
    ${learned ? html`<p class="result" role="status">${t("inputs.last_learned", { what: retold("inputs.learned_is", learned) })}</p>` : nothing}
    <div class="either"><button ?disabled=${inert} @click=${() => act.learn("squeeze")}>${t("inputs.learn_squeeze")}<small>${t("inputs.pedal_once")}</small></button>
      <button ?disabled=${inert} @click=${() => act.learn("step")}>${t("inputs.learn_step")}<small>${t("inputs.pedal_once")}</small></button></div></section>`;
}

/** @param {InputsShown} i @param {Ui} ui @param {boolean} inert @param {Acts} act */
function clock(i, ui, inert, act) {
  const c = i.clock;
  return html`<section class=${c.ok ? "clock" : "clock unset"} aria-label=${t("inputs.clock_title")}><h2>${t("inputs.clock_title")}</h2>
    <p>${c.ok ? nothing : html`<span aria-hidden="true">! </span>`}${sentence(`*${c.word.charAt(0).toUpperCase()}${c.word.slice(1)}*`)}; ${c.trust}; ${c.steps}.</p>
    ${clockForm(c, ui.clock, inert || i.runOpen, act.clock)}</section>`;
}

/** @type {Record<string, string>} */
const partMarks = { loaded: "✓", absent: "–", failed: "✕" };

/** @param {Ui} ui */
function box(ui) {
  const b = ui.box;
  return html`<section class="box" aria-label=${t("inputs.box_title")}><h2>${t("inputs.box_title")}</h2>
    ${ui.boxProblem ? html`<p class="note" role="status">${ui.boxProblem}</p>` : nothing}
    ${b === null
      ? html`<p>${ui.boxProblem ? "" : t("inputs.asking")}</p>`
      : html`<dl>${boxFacts(b).map((f) => html`<div class=${f.ok ? "" : "bad"}><dt>${f.name}</dt><dd>${f.of ? html`<b>${f.of}</b> ` : nothing}${f.ok ? nothing : html`<span aria-hidden="true">! </span>`}${f.word}</dd></div>`)}</dl>
        <h3>${t("inputs.came_up")}</h3>
        <ul class="parts">${b.parts.map((p) => html`<li class=${p.state}><span aria-hidden="true">${partMarks[p.state] ?? "?"}</span> <b>${partName(p.name)}</b> ${lookUp(parts, p.state)}${p.reason ? `: ${partWhy(p.reason)}` : ""}</li>`)}</ul>`}
  </section>`;
}

function careful() {
  return html`<section class="careful" id="cautions" aria-label=${t("inputs.cautions_title")}><h2>${t("inputs.cautions_title")}</h2>
    <ul>${cautions().map(([word, text]) => html`<li><b>${word}.</b> ${text}</li>`)}</ul></section>`;
}
