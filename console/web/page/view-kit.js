// SPDX-License-Identifier: Apache-2.0

// Hoods, nebulisers and solutions: what is in what, how long it is still good,
// whether mist was seen. A nebuliser is drawn as its four hours. Pure.

import { html, nothing, svg } from "./vendor/lit-html.js";
import { clockOf, fillLine, hoodMM, hoodShown, isExpired, kitSentence, nebuliserShown, recipeText } from "./state-office.js";
import { when } from "./state-record.js";
import { bad, editing, fill, seen } from "./view-kit-steps.js";
import { drawing, loading, office, pipSvg } from "./view-office.js";
import { cautions } from "./words-office.js";

/** @typedef {import("./api.js").Kit} Kit */
/** @typedef {import("./api.js").Nebuliser} Nebuliser */
/** @typedef {import("./api.js").Hood} Hood */
/** @typedef {import("./api.js").Solution} Solution */
/** @typedef {"hoods"|"nebulisers"|"solutions"} Kind */
/**
 * What the page is doing: one thing at a time.
 * @typedef {{do: "look"}|{do: "edit", kind: Kind, id: string, recipe?: number}|{do: "fill", id: string, solution: string}|{do: "seen", id: string}|{do: "bad", id: string, sweep: import("./api.js").Sweep|null, names: Record<string, string>}|{do: "recalled", mark: string, sweep: import("./api.js").Sweep, names: Record<string, string>}} Doing
 */
/**
 * @typedef {object} Ui
 * @property {Kit|null} kit
 * @property {number} ageMs     since it was asked for
 * @property {Doing} doing
 * @property {import("./api.js").Recipe[]} recipes
 * @property {boolean} gone
 * @property {string} today
 */
/**
 * @typedef {object} Own
 * @property {(doing: Doing) => void} go
 * @property {(kind: Kind, id: string, form: any) => void} save
 * @property {(n: Nebuliser, solution: string) => void} fill
 * @property {(n: Nebuliser) => void} good
 * @property {(n: Nebuliser) => void} sweep       asks what a bad mist check would do
 * @property {(n: Nebuliser, sweep: import("./api.js").Sweep) => void} bad
 * @property {(gone: boolean) => void} showGone
 */
/** @typedef {Own & import("./view-office.js").OfficeActs} Acts */

/** @param {import("./office.js").Office} o @param {Ui} ui @param {Acts} act */
export function kit(o, ui, act) {
  const page = { here: "/kit", title: "Kit", cls: "kit" };
  const k = ui.kit;
  if (k === null) return office(page, o, act, o.problem ? nothing : loading("Reading what kit there is."));
  const d = ui.doing;
  const of = "id" in d ? k.nebulisers.find((n) => n.id === d.id) : undefined;
  if (d.do === "edit") return office({ ...page, ...editing(d, k, ui, o, act) }, o, act, editing(d, k, ui, o, act).body);
  if (d.do === "fill" && of) return office({ ...page, title: `Fill ${of.mark}`, say: `Which bottle goes into *${of.mark}*? It takes the *${of.role}* ${of.agent} solution only.` }, o, act, fill(of, d.solution, k, ui, o, act));
  if (d.do === "seen" && of) return office({ ...page, title: `Mist of ${of.mark}`, say: `Squeeze *${of.mark}* once, away from faces. Does *fine mist* come?` }, o, act, seen(of, o, act));
  if (d.do === "bad" && of) return office({ ...page, title: `No mist from ${of.mark}` }, o, act, bad(of, d, o, act));
  if (d.do === "recalled") return office({ ...page, title: "To be called back" }, o, act, recalled(d, act));
  const used = (/** @type {any[]} */ list) => list.filter((x) => ui.gone || !x.gone);
  const nothingYet = k.nebulisers.length + k.hoods.length + k.solutions.length === 0;
  const anyGone = [...k.nebulisers, ...k.hoods, ...k.solutions].some((x) => x.gone);
  return office({ ...page, say: kitSentence(k, ui.ageMs, ui.today) }, o, act, html`
    ${nothingYet ? html`<p>Each nebuliser bears a mark of its own that is read out before each part of a test. One is for the weak solution, one for the strong, and they are never exchanged.</p>` : nothing}
    <section aria-label="Nebulisers"><ul class="nebs">${used(k.nebulisers).map((n) => nebuliser(n, k, ui, o, act))}</ul>
      <p><button class=${k.nebulisers.length === 0 ? "primary" : ""} @click=${() => act.go({ do: "edit", kind: "nebulisers", id: "" })}>Enter a nebuliser<small>its mark, weak or strong, its agent</small></button></p></section>
    <section aria-label="Solutions"><h2>Solutions</h2>
      ${k.solutions.length === 0 ? html`<p>No batch is entered. A nebuliser is filled from a batch, so that its lot and date stand in every record.</p>` : html`<ul class="batches">${used(k.solutions).map((s) => batch(s, ui, act))}</ul>`}
      <p><button @click=${() => act.go({ do: "edit", kind: "solutions", id: "" })}>Enter a batch<small>made or opened</small></button></p></section>
    <div class="two"><section aria-label="Hoods"><h2>Hoods</h2>
      ${k.hoods.length === 0 ? html`<p>No hood is entered. Measure each once: a larger one thins the mist.</p>` : html`<ul class="hoods">${used(k.hoods).map((h) => hood(h, act))}</ul>`}
      <p><button @click=${() => act.go({ do: "edit", kind: "hoods", id: "" })}>Enter a hood<small>its mark and size</small></button></p></section>
    <section aria-label="Recipes"><h2>Recipes to print</h2>${recipes(ui)}<ul class="points">${cautions.map((c) => html`<li>${c}</li>`)}</ul></section></div>
    ${anyGone ? html`<p><button aria-expanded=${ui.gone ? "true" : "false"} @click=${() => act.showGone(!ui.gone)}>${ui.gone ? "Hide" : "Show"} what is not used any more</button></p>` : nothing}`);
}

/** @param {Nebuliser} n @param {Kit} k @param {Ui} ui @param {import("./office.js").Office} o @param {Acts} act */
function nebuliser(n, k, ui, o, act) {
  const s = nebuliserShown(n, ui.ageMs);
  const b = k.solutions.find((x) => x.id === n.solution);
  const late = b !== undefined && isExpired(b, ui.today);
  return html`<li class=${`neb is-${s.key} ${n.gone ? "past" : ""}`} aria-label=${n.mark}>
    <div class=${`bottle ${n.role}`}><b>${n.mark}</b><span>${n.role}</span><small>${n.agent}</small></div>
    <div class="four">${n.gone ? html`<p>Not used any more.</p>` : drawing(fillLine(n, ui.ageMs), 560, 68, `${n.mark}: ${s.word}`, "fill-line")}
      <p class="facts"><span>${b ? html`lot <b>${b.lot}</b>${late ? html`, <strong>⊘ past its date ${b.expires}</strong>` : `, good until ${b.expires}`}` : "no batch in it"}</span>
        ${n.filled ? html`<span>filled ${when(n.filled)}</span><span>${n.squeezes} squeezes since</span>` : nothing}<span>${n.checked ? html`mist ${n.good ? "seen" : html`<strong>not seen</strong>`} ${clockOf(n.checked)}` : "mist never looked at"}</span></p></div>
    <p class="rest">${s.key === "empty" || s.key === "unknown" ? html`<b aria-hidden="true">–</b>` : html`<b>${s.leftS <= 0 ? "0:00" : s.left}</b>`}<span>${s.key === "warn" || s.key === "stale" || s.key === "clogged" || s.key === "empty" || s.key === "unknown" ? html`<i aria-hidden="true">! </i>` : nothing}${s.key === "good" ? "hours good" : s.word}</span></p>
    ${n.gone ? html`<div class="does"><button @click=${() => act.go({ do: "edit", kind: "nebulisers", id: n.id })}>Change</button></div>`
      : html`<div class="does"><button class=${s.key === "empty" || s.key === "stale" || s.key === "clogged" ? "primary" : ""} ?disabled=${o.working} aria-label=${`Fill ${n.mark}`} @click=${() => act.go({ do: "fill", id: n.id, solution: "" })}>Fill</button>
        <button class=${s.key === "unseen" ? "primary" : ""} ?disabled=${o.working || !n.filled} aria-label=${`Mist check of ${n.mark}`} @click=${() => act.go({ do: "seen", id: n.id })}>Mist check</button>
        <button class="plain-button" aria-label=${`Change ${n.mark}`} @click=${() => act.go({ do: "edit", kind: "nebulisers", id: n.id })}>Change</button></div>`}</li>`;
}

/** @param {Solution} s @param {Ui} ui @param {Acts} act */
function batch(s, ui, act) {
  const late = isExpired(s, ui.today);
  return html`<li class=${late || s.gone ? "batch past" : "batch"}><span class=${`tag ${s.strength}`}>${s.strength}</span><span class="who"><b>${s.agent}, lot ${s.lot}</b><small>made or opened ${s.made} by ${s.who}</small></span>
    <span class="stand"><strong>${s.gone ? "not used any more" : late ? html`<span aria-hidden="true">⊘ </span>past its date ${s.expires}` : `good until ${s.expires}`}</strong></span>
    <details><summary>Recipe</summary><p class="recipe">${s.recipe}</p><p class="small">Source: ${s.source}</p></details>
    <span class="does"><a class="to" href=${`/api/v1/solutions/${encodeURIComponent(s.id)}/label.pdf`} aria-label=${`Label of lot ${s.lot} (PDF)`}>Label</a><button class="plain-button" aria-label=${`Change lot ${s.lot}`} @click=${() => act.go({ do: "edit", kind: "solutions", id: s.id })}>Change</button></span></li>`;
}

/** A hood to scale beside the published one. @param {Hood} h @param {Acts} act */
function hood(h, act) {
  const s = hoodShown(h);
  const outline = (/** @type {number} */ across, /** @type {number} */ tall) => {
    const w = (across / 500) * 80;
    const t = (tall / 500) * 80;
    return `M${50 - w / 2} 84V${84 - t + w * 0.18}C${50 - w / 2} ${84 - t} ${50 + w / 2} ${84 - t} ${50 + w / 2} ${84 - t + w * 0.18}V84Z`;
  };
  return html`<li class=${s.warn ? "hood warn" : "hood"} aria-label=${h.mark}><svg class="outline" viewBox="0 0 100 90" aria-hidden="true"><path class="h-ref" d=${outline(hoodMM.across, hoodMM.tall)}></path>${h.across_mm && h.tall_mm ? svg`<path class="h-own" d=${outline(Math.min(600, h.across_mm), Math.min(520, h.tall_mm))}></path>` : nothing}</svg>
    <span class="who"><b>${h.mark}</b><small>${h.across_mm && h.tall_mm ? `${(h.across_mm / 10).toFixed(1)} cm across, ${(h.tall_mm / 10).toFixed(1)} cm tall, about ${s.volume}` : "size not known"}</small><small>${s.warn ? html`<strong>! ${s.word}</strong>` : h.gone ? "not used any more" : s.word}</small></span>
    <button class="plain-button" aria-label=${`Change ${h.mark}`} @click=${() => act.go({ do: "edit", kind: "hoods", id: h.id })}>Change</button></li>`;
}

/** @param {Ui} ui */
function recipes(ui) {
  if (ui.recipes.length === 0) return html`<p>No recipe is on this box.</p>`;
  return html`<ul class="sheets">${ui.recipes.map((r) => {
    const at = `/api/v1/recipes/${encodeURIComponent(r.agent)}/${encodeURIComponent(r.strength)}/sheet.pdf?recipe=${encodeURIComponent(r.id)}`;
    const sizes = [r.volume_ml, ...[100, 200, 500].filter((ml) => ml > r.volume_ml)].slice(0, 3);
    return html`<li><span><b>${r.name}</b><small>${recipeText(r)}</small><small>Source: ${r.source}</small></span><span class="does">${sizes.map((ml) => html`<a class="to" href=${`${at}&ml=${ml}`} aria-label=${`Sheet for ${ml} ml: ${r.name} (PDF)`}>${ml} ml</a>`)}</span></li>`;
  })}</ul>`;
}

/** @param {Extract<Doing, {do: "recalled"}>} d @param {Acts} act */
function recalled(d, act) {
  return html`<p class="say">${d.sweep.people.length === 0 ? html`Noted: no mist from ${d.mark}. No test depended on it.` : html`<em>${d.sweep.people.length === 1 ? "One person" : `${d.sweep.people.length} people`}</em> to be called back. Their tests with ${d.mark} do not count any more, and they are due now.`}</p>
    ${d.sweep.people.length ? html`<ul class="folk">${d.sweep.people.map((p) => html`<li><a class="person" href=${`/people/${encodeURIComponent(p)}`}>${pipSvg("cross")}<span class="who"><b><bdi>${d.names[p] ?? p}</bdi></b><small>${d.sweep.runs.filter((r) => r.person === p).map((r) => when(r.at)).join("; ")}</small></span></a></li>`)}</ul>` : nothing}
    <div class="either">${d.sweep.people.length ? html`<button @click=${() => print()}>Print this list</button>` : nothing}<button class="primary" @click=${() => act.go({ do: "look" })}>Back to the kit<small>clean and fill ${d.mark} there</small></button></div>`;
}
