// SPDX-License-Identifier: Apache-2.0

// What stands beside a run on the Bench: who it is, the Wearer's page, what to
// say to the wearer, the simulated wearer of a drill, and the runs that wait.
// Pure.

import { html, nothing } from "./vendor/lit-html.js";
import { direction, has, spoken, t, wearerLanguages } from "./lang.js";

/** @typedef {import("./contract.js").Run} Run */
/** @typedef {import("./state.js").Shown} Shown */
/** @typedef {import("./view-bench.js").Acts} Acts */

/**
 * The runs that wait, each with what it waits for. While the run on the screen
 * cannot be set aside they are told in one line.
 * @param {Shown} s @param {boolean} open a run is on the screen @param {boolean} inert @param {Pick<Acts, "takeUp">} act
 */
export function waitingRuns(s, open, inert, act) {
  if (s.parked.length === 0) return nothing;
  if (!s.may.takeUp) {
    return html`<section class="waiting told" aria-label=${t("bench.waiting")}><span>${t("bench.waiting_now")}</span>${s.parked.map(
      (p) => html`<span class=${p.ready ? "ready" : ""}>${t("bench.wait_short", { name: p.wearer, clock: p.ready || p.clock === "" ? p.word : p.clock })}</span>`,
    )}</section>`;
  }
  return html`<section class="waiting" aria-label=${t("bench.waiting")}>${s.parked.map(
    (p, i) => html`<button class=${p.ready ? "ready" : ""} ?disabled=${inert} @click=${() => act.takeUp(p.run)}><span class="small">${t(open ? "bench.park_take_up" : "bench.take_up")}</span> ${p.wearer} <kbd>${i + 1}</kbd><small>${
      t(p.clock ? "bench.wait_line" : "bench.wait_word", { stage: p.stage, clock: p.clock, word: p.word })
    }</small></button>`,
  )}</section>`;
}

/**
 * The wearer said that the name is not theirs: loud, and how it is put right.
 * @param {Run} run @param {boolean} inert @param {Pick<Acts, "verb">} act
 */
export function mistaken(run, inert, act) {
  return html`<section class="wrong" role="alert"><p><strong><span aria-hidden="true">⊘ </span>${t("bench.wrong", { name: run.wearer })}</strong> ${t("bench.wrong_more")} ${t("bench.wrong_end")}</p>
    <button ?disabled=${inert} @click=${() => act.verb("name_said", { yes: true })}>${t("bench.wrong_right", { name: run.wearer })}<small>${t("bench.wrong_right_small")}</small></button></section>`;
}

/**
 * The question for the name, which the wearer may answer on their own page.
 * @param {Run} run @param {boolean} inert @param {Pick<Acts, "verb">} act
 */
export function identity(run, inert, act) {
  if (run.name_said === "no" || run.wearer === "") return nothing; // said loudly above
  return html`<h2 id="identity">${t("bench.name_ask", { name: run.wearer })}</h2>${
    run.name_said === "yes"
      ? html`<p>${t("bench.name_said_yes")}</p>`
      : html`<div class="either answers" role="group" aria-labelledby="identity"><button ?disabled=${inert} @click=${() => act.verb("name_said", { yes: true })}>${t("bench.name_yes")}</button><button ?disabled=${inert} @click=${() => act.verb("name_said", { yes: false })}>${t("bench.name_no")}</button></div>`
  }`;
}

/** The code of the Wearer's page, until a page is paired. @param {Run} run @param {Shown} s */
export function pairing(run, s) {
  if (!s.code && run.paired === 0) return nothing;
  return html`<h2>${t("bench.pairing")}</h2>${
    s.code ? html`<p>${t("bench.pairing_code")} <b class="code">${s.code}</b></p><p>${t("bench.unpaired")}</p>` : html`<p>${t("bench.paired", { n: run.paired })}</p>`
  }`;
}

/**
 * What to say to the wearer, in the wearer's language; where that is not the
 * tester's, in both.
 * @param {Run} run @param {Shown} s
 */
export function telling(run, s) {
  const key = `tell.${s.tell}`;
  if (s.tell === "" || !has(key)) return nothing;
  const own = spoken();
  const wanted = run.wearer_language || own;
  const text = t(key, {}, wanted);
  // What a language lacks stands in English, and is marked as that.
  const lang = wanted === "en" || text !== t(key, {}, "en") ? wanted : "en";
  const name = wearerLanguages.find((l) => l.code === lang)?.name ?? lang;
  return html`<p class="tell"><span>${lang === own ? t("bench.say") : t("bench.say_in", { language: name })}</span> <q lang=${lang} dir=${direction(lang)}>${text}</q>${
    lang === own ? nothing : html` <span class="own">${t(key)}</span>`
  }</p>`;
}

/**
 * What the simulated wearer of a drill says and does, newest last, and what it
 * waits for.
 * @param {import("./contract.js").Drill} drill
 */
export function simulated(drill) {
  const last = drill.said.slice(-3);
  const asks = `drill.asks.${drill.asks}`;
  return html`<section class="drill" aria-label=${t("bench.drill")}><h2>${t("bench.drill")}</h2><div aria-live="polite">${
    last.length === 0 ? html`<p>${t("bench.drill_quiet")}</p>` : last.map((l) => html`<p>${lineOf(l)}</p>`)
  }</div>${drill.asks !== "" && has(asks) ? html`<p class="asks">${t(asks)}</p>` : nothing}</section>`;
}

/** @param {import("./contract.js").DrillLine} l */
function lineOf(l) {
  return has(`drill.said.${l.what}`) ? t(`drill.said.${l.what}`, { text: l.text }) : l.text || l.what.replaceAll("_", " ");
}
