// SPDX-License-Identifier: Apache-2.0

// First run: the steps of a new box, one of them open. Pure.

import { html, nothing } from "./vendor/lit-html.js";
import { t } from "./lang.js";
import { after, failed, pairOf, ready } from "./state-start.js";
import { clockForm } from "./view-clock.js";
import { healthLine, nav, practice, problemLine, sentence } from "./view-common.js";
import { simContacts } from "./view-contacts.js";
import { agents, lacking, lookUp, partWhy } from "./words.js";

/** @typedef {import("./contract.js").Snapshot} Snapshot */
/** @typedef {import("./state-start.js").Step} Step */
/**
 * @typedef {object} Own
 * @property {string} step    the one that is open; empty for none
 * @property {import("./state-start.js").Known} known
 * @property {string} unread  why the box's lists could not be read; empty when they could
 * @property {""|"asked"|"heard"|"not"} heard  what somebody at this screen said of the tone
 * @property {boolean} slow
 * @property {import("./state-inputs.js").Edit} clock
 */
/** @typedef {Own & import("./driver.js").Driven} Ui */
/**
 * @typedef {object} Acts
 * @property {(step: string) => void} go
 * @property {(verb: "check_begin"|"check_end") => void} verb
 * @property {() => void} tone
 * @property {(heard: boolean) => void} heard
 * @property {() => void} takeOver
 * @property {(line: string, closed: boolean) => void} contact
 * @property {import("./view-clock.js").ClockActs} clock
 */

/** Signs beside the words. @type {Record<string, string>} */
const signs = { done: "✓", open: "○", bad: "⊘", unknown: "…" };

/**
 * @param {Snapshot|null} snap
 * @param {import("./state.js").Shown|null} s
 * @param {import("./state-inputs.js").InputsShown|null} i
 * @param {Step[]} steps
 * @param {Ui} ui
 * @param {Acts} act
 */
export function start(snap, s, i, steps, ui, act) {
  if (snap === null || s === null || i === null) {
    return html`<main class="sheet plain"><h1>${t("start.title")}</h1>${problemLine(ui.problem)}<p class="say" aria-live="polite">${t("start.looking")}</p></main>`;
  }
  const inert = s.stale || ui.asleep || !s.driving;
  const done = steps.filter((x) => x.is === "done").length;
  const all = done === steps.length;
  return html`<main class=${`sheet plain start ${s.stale ? "stale" : ""}`}>
    <div class="top">${practice(snap.practice)}${ui.sim ? simContacts(ui, inert, act.contact) : nothing}</div>
    <header class="head"><h1>${t("start.title")}</h1>${nav("/start")}${healthLine(s.health)}</header>
    <div class="lines">${problemLine(ui.problem)}
      ${ui.unread ? html`<p class="notice" role="status">${t("start.unread", { why: ui.unread })}</p>` : nothing}
      ${s.stale
        ? html`<p class="notice"><strong role="status">${t("bench.stale")}</strong> ${t("bench.stale_age", { age: s.age })}</p>`
        : ui.asleep
          ? html`<p class="notice" role="status"><strong>${t("bench.back")}</strong> ${t("bench.wake")}</p>`
          : snap.run !== null
            ? html`<p class="notice" role="status">${t("start.run_open")} <a href="/bench">${t("start.to_bench")}</a></p>`
            : s.driving
              ? nothing
              : html`<p class="notice" role="status">${t("start.watching")} <button @click=${act.takeOver}>${t("start.take_over")}</button></p>`}
      ${ui.said ? html`<p class="note" role="status">${ui.said}</p>` : ui.slow ? html`<p class="note" role="status">${t("bench.slow")}</p>` : nothing}</div>
    <p class="say">${sentence(all ? t("start.ready") : t("start.about", { done, of: steps.length }))}</p>
    <ol class="steps-of-start" aria-label=${t("start.steps")}>${steps.map((x, n) => {
      const open = x.id === ui.step;
      return html`<li class=${`${x.is} ${open ? "opened" : ""}`} id=${x.id}>
        <h2><button aria-expanded=${open ? "true" : "false"} @click=${() => act.go(open ? "" : x.id)}><i aria-hidden="true">${signs[x.is]}</i><span>${n + 1}. ${t(`start.${x.id}.title`)}</span><small>${t(`start.${x.is}`)}</small></button></h2>
        ${open ? html`<div class="step">${body(x, snap, i, ui, inert || snap.run !== null, act)}${onward(steps, x, act)}</div>` : nothing}</li>`;
    })}</ol>
    <p class="links"><a class=${`go ${all ? "primary" : ""}`} href="/bench">${t("start.open_bench")}</a></p>
  </main>`;
}

/** @param {Step[]} steps @param {Step} x @param {Acts} act */
function onward(steps, x, act) {
  const to = after(steps, x.id);
  if (to === "") return nothing;
  return html`<p><button class=${x.is === "done" ? "primary" : ""} @click=${() => act.go(to)}>${t(x.is === "done" ? "start.next" : "start.later")}<small>${t("start.later_small", { step: t(`start.${to}.title`) })}</small></button></p>`;
}

/**
 * @param {Step} x @param {Snapshot} snap @param {import("./state-inputs.js").InputsShown} i @param {Ui} ui @param {boolean} inert @param {Acts} act
 */
function body(x, snap, i, ui, inert, act) {
  const what = html`<p>${t(`start.${x.id}.what`)}</p>`;
  const link = (/** @type {string} */ href, /** @type {string} */ key, primary = false) => html`<a class=${primary ? "go primary" : "go"} href=${href}>${t(key)}</a>`;
  const fresh = x.is !== "done";
  switch (x.id) {
    case "inputs":
      return wires(what, snap, i, inert, act, link);
    case "sound":
      return html`${what}
        ${snap.sound ? html`<p class="refused">${t("start.sound.none", { why: partWhy(snap.sound) })}</p>` : nothing}
        ${x.is === "done" ? html`<p class="result"><span aria-hidden="true">✓</span> ${t(ui.heard === "heard" ? "start.sound.said" : "start.sound.measured")}</p>` : nothing}
        ${ui.heard === "not" ? html`<p class="refused" role="status">${t("start.sound.not_heard_help")}</p>` : nothing}
        <div class="either"><button class=${fresh && ui.heard !== "asked" ? "primary" : ""} ?disabled=${inert || snap.sound !== ""} @click=${act.tone}>${t("start.sound.tone")}<small>${t("start.sound.tone_small")}</small></button>
          ${ui.heard === "asked" ? html`<button class="primary" @click=${() => act.heard(true)}>${t("start.sound.heard")}</button><button @click=${() => act.heard(false)}>${t("start.sound.not_heard")}</button>` : nothing}${link("/inputs", "start.inputs.go")}</div>`;
    case "clock":
      return html`${what}${clockForm(i.clock, ui.clock, inert, act.clock)}`;
    case "people": {
      const n = ui.known.choices?.people.length ?? 0;
      return html`${what}${n > 0 ? html`<p class="result">${t("start.people.has", { n })}</p>` : nothing}
        <div class="either">${link("/people/import", "start.people.import", fresh)}${link("/people/new", "start.people.new")}${n === 0 ? link("/settings", "start.people.restore") : link("/people", "start.people.go")}</div>`;
    }
    case "facepieces": {
      const n = ui.known.choices?.facepieces.length ?? 0;
      return html`${what}${n > 0 ? html`<p class="result">${t("start.facepieces.has", { n })}</p>` : nothing}<div class="either">${link("/facepieces", "start.facepieces.go", fresh)}</div>`;
    }
    case "kit": {
      const kit = ui.known.kit;
      const of = kit?.nebulisers.filter((k) => !k.gone).length ?? 0;
      return html`${what}${
        kit === null ? nothing : html`<p class="result">${of === 0 ? t("start.kit.none") : pairOf(kit) ? t("start.kit.has", { agent: lookUp(agents, pairOf(kit)) }) : t("start.kit.lacks", { n: ready(kit).length, of })}</p>`
      }<div class="either">${link("/kit", "start.kit.go", fresh)}</div>`;
    }
    default: {
      const n = ui.known.drills ?? 0;
      return html`${what}${n > 0 ? html`<p class="result">${t("start.drill.has", { n })}</p>` : nothing}<div class="either">${link("/drill", "start.drill.go", fresh)}</div>`;
    }
  }
}

/**
 * @param {unknown} what @param {Snapshot} snap @param {import("./state-inputs.js").InputsShown} i @param {boolean} inert @param {Acts} act
 * @param {(href: string, key: string, primary?: boolean) => unknown} link
 */
function wires(what, snap, i, inert, act, link) {
  if (i.mode === "check") {
    return html`<p class="do" aria-live="assertive">${sentence(i.sentence)}</p><p>${t("start.inputs.left", { time: i.check?.left ?? "" })}</p>
      ${i.check?.found.length ? html`<ul>${i.check.found.map((f) => html`<li>${f}</li>`)}</ul>` : nothing}
      <div class="either"><button ?disabled=${inert} @click=${() => act.verb("check_end")}>${t("start.inputs.end")}</button></div>`;
  }
  const missing = lacking(snap.inputs.missing ?? "") || partWhy(snap.inputs.lost ?? "");
  return html`${what}
    ${missing ? html`<p class="refused" role="status">${t("start.inputs.missing", { what: missing })}</p>` : failed(snap) ? html`<p class="refused" role="status">${t("start.inputs.failed")}</p>` : nothing}
    ${snap.inputs.check?.passed ? html`<p class="result"><span aria-hidden="true">✓</span> ${t("start.inputs.passed")}</p>` : nothing}
    <div class="either"><button class=${snap.inputs.check?.passed ? "" : "primary"} ?disabled=${inert} @click=${() => act.verb("check_begin")}>${t("start.inputs.begin")}<small>${t("start.inputs.begin_small")}</small></button>${link("/inputs", "start.inputs.go")}</div>`;
}
