// SPDX-License-Identifier: Apache-2.0

// Hoods, nebulisers and solutions: what is in what, how long it is still good,
// whether mist was seen. A nebuliser is drawn as its four hours. Pure.

import { html, nothing, svg } from "./vendor/lit-html.js";
import { dayIn, figure, t } from "./lang.js";
import { clockOf, fillLine, hoodMM, hoodShown, isExpired, kitSentence, nebuliserShown, recipeShown, sourceShown } from "./state-office.js";
import { when } from "./state-record.js";
import { another, bad, editing, fill, seen } from "./view-kit-steps.js";
import { drawing, loading, office, pipSvg } from "./view-office.js";
import { bold, rich, strong } from "./view-words.js";
import { cautions, strengths } from "./words-office.js";
import { agents, lookUp } from "./words.js";

/** @typedef {import("./api.js").Kit} Kit */
/** @typedef {import("./api.js").Nebuliser} Nebuliser */
/** @typedef {import("./api.js").Hood} Hood */
/** @typedef {import("./api.js").Solution} Solution */
/** @typedef {"hoods"|"nebulisers"|"solutions"} Kind */
/**
 * What the page is doing: one thing at a time.
 * @typedef {{do: "look"}|{do: "edit", kind: Kind, id: string, recipe?: number}|{do: "fill", id: string, solution: string}|{do: "seen", id: string}|{do: "bad", id: string, sweep: import("./api.js").Sweep|null, names: Record<string, string>}|{do: "batch", id: string, form: import("./api.js").SolutionForm, sweep: import("./api.js").Sweep, names: Record<string, string>}|{do: "recalled", mark: string, lot: string, sweep: import("./api.js").Sweep, names: Record<string, string>}} Doing
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
 * @property {(d: Extract<Doing, {do: "batch"}>) => void} batch  changes a batch with what that recalls
 * @property {(gone: boolean) => void} showGone
 */
/** @typedef {Own & import("./view-office.js").OfficeActs} Acts */

/** @param {import("./office.js").Office} o @param {Ui} ui @param {Acts} act */
export function kit(o, ui, act) {
  const page = { here: "/kit", title: t("office.kit.title"), cls: "kit" };
  const k = ui.kit;
  if (k === null) return office(page, o, act, o.problem ? nothing : loading(t("office.kit.reading")));
  const d = ui.doing;
  const of = "id" in d ? k.nebulisers.find((n) => n.id === d.id) : undefined;
  if (d.do === "edit") return office({ ...page, ...editing(d, k, ui, o, act) }, o, act, editing(d, k, ui, o, act).body);
  if (d.do === "fill" && of) return office({ ...page, title: t("office.kit.fill_title", { mark: of.mark }), say: t(of.role === "weak" ? "office.kit.fill_weak" : "office.kit.fill_strong", { mark: of.mark, agent: lookUp(agents, of.agent) }) }, o, act, fill(of, d.solution, k, ui, o, act));
  if (d.do === "seen" && of) return office({ ...page, title: t("office.kit.mist_title", { mark: of.mark }), say: t("office.kit.mist_say", { mark: of.mark }) }, o, act, seen(of, o, act));
  if (d.do === "bad" && of) return office({ ...page, title: t("office.kit.no_mist_title", { mark: of.mark }) }, o, act, bad(of, d, o, act));
  if (d.do === "batch") return office({ ...page, title: t("office.kit.batch_title", { lot: d.form.lot }) }, o, act, another(d, o, act));
  if (d.do === "recalled") return office({ ...page, title: t("office.kit.called_back") }, o, act, recalled(d, act));
  const used = (/** @type {any[]} */ list) => list.filter((x) => ui.gone || !x.gone);
  const nothingYet = k.nebulisers.length + k.hoods.length + k.solutions.length === 0;
  const anyGone = [...k.nebulisers, ...k.hoods, ...k.solutions].some((x) => x.gone);
  return office({ ...page, say: kitSentence(k, ui.ageMs, ui.today) }, o, act, html`
    ${nothingYet ? html`<p>${t("office.kit.marks")}</p>` : nothing}
    <section aria-label=${t("office.kit.nebulisers")}><ul class="nebs">${used(k.nebulisers).map((n) => nebuliser(n, k, ui, o, act))}</ul>
      <p><button class=${k.nebulisers.length === 0 ? "primary" : ""} @click=${() => act.go({ do: "edit", kind: "nebulisers", id: "" })}>${t("office.kit.enter_neb")}<small>${t("office.kit.neb_what")}</small></button></p></section>
    <section aria-label=${t("office.kit.solutions")}><h2>${t("office.kit.solutions")}</h2>
      ${k.solutions.length === 0 ? html`<p>${t("office.kit.no_batch")}</p>` : html`<ul class="batches">${used(k.solutions).map((s) => batch(s, ui, act))}</ul>`}
      <p><button @click=${() => act.go({ do: "edit", kind: "solutions", id: "" })}>${t("office.kit.enter_batch")}<small>${t("office.kit.batch_what")}</small></button></p></section>
    <div class="two"><section aria-label=${t("office.kit.hoods")}><h2>${t("office.kit.hoods")}</h2>
      ${k.hoods.length === 0 ? html`<p>${t("office.kit.no_hood")}</p>` : html`<ul class="hoods">${used(k.hoods).map((h) => hood(h, act))}</ul>`}
      <p><button @click=${() => act.go({ do: "edit", kind: "hoods", id: "" })}>${t("office.kit.enter_hood")}<small>${t("office.kit.hood_what")}</small></button></p></section>
    <section aria-label=${t("office.kit.recipes_aria")}><h2>${t("office.kit.recipes")}</h2>${recipes(ui)}<ul class="points">${cautions().map((c) => html`<li>${c}</li>`)}</ul></section></div>
    ${anyGone ? html`<p><button aria-expanded=${ui.gone ? "true" : "false"} @click=${() => act.showGone(!ui.gone)}>${ui.gone ? t("office.kit.hide_gone") : t("office.kit.show_gone")}</button></p>` : nothing}`);
}

/** @param {Nebuliser} n @param {Kit} k @param {Ui} ui @param {import("./office.js").Office} o @param {Acts} act */
function nebuliser(n, k, ui, o, act) {
  const s = nebuliserShown(n, ui.ageMs);
  const b = k.solutions.find((x) => x.id === n.solution);
  const late = b !== undefined && isExpired(b, ui.today);
  return html`<li class=${`neb is-${s.key} ${n.gone ? "past" : ""}`} aria-label=${n.mark}>
    <div class=${`bottle ${n.role}`}><b>${n.mark}</b><span>${lookUp(strengths, n.role)}</span><small>${lookUp(agents, n.agent)}</small></div>
    <div class="four">${n.gone ? html`<p>${t("office.kit.unused")}</p>` : drawing(fillLine(n, ui.ageMs), 560, 68, `${n.mark}: ${s.word}`, "fill-line")}
      <p class="facts"><span>${b ? (late ? html`${rich("office.kit.lot", { lot: b.lot }, bold)}, <strong>⊘ ${t("office.refused.late", { day: dayIn(b.expires) })}</strong>` : rich("office.kit.lot_good", { lot: b.lot, day: dayIn(b.expires) }, bold)) : t("office.kit.no_batch_in")}</span>
        ${n.filled ? html`<span>${t("office.kit.filled", { when: when(n.filled) })}</span><span>${t("office.kit.squeezes", { n: n.squeezes })}</span>` : nothing}<span>${n.checked ? rich(n.good ? "office.kit.mist_seen" : "office.kit.mist_unseen", { time: clockOf(n.checked) }, strong) : t("office.kit.never_looked")}</span></p></div>
    <p class="rest">${s.key === "empty" || s.key === "unknown" ? html`<b aria-hidden="true">–</b>` : html`<b>${s.leftS <= 0 ? "0:00" : s.left}</b>`}<span>${s.key === "warn" || s.key === "stale" || s.key === "clogged" || s.key === "empty" || s.key === "unknown" ? html`<i aria-hidden="true">! </i>` : nothing}${s.key === "good" ? t("office.kit.hours_good") : s.word}</span></p>
    ${n.gone ? html`<div class="does"><button @click=${() => act.go({ do: "edit", kind: "nebulisers", id: n.id })}>${t("office.change")}</button></div>`
      : html`<div class="does"><button class=${s.key === "empty" || s.key === "stale" || s.key === "clogged" ? "primary" : ""} ?disabled=${o.working} aria-label=${t("office.kit.fill_which", { mark: n.mark })} @click=${() => act.go({ do: "fill", id: n.id, solution: "" })}>${t("office.kit.fill")}</button>
        <button class=${s.key === "unseen" ? "primary" : ""} ?disabled=${o.working || !n.filled} aria-label=${t("office.kit.mist_of", { mark: n.mark })} @click=${() => act.go({ do: "seen", id: n.id })}>${t("office.kit.mist_check")}</button>
        <button class="plain-button" aria-label=${t("office.change_which", { name: n.mark })} @click=${() => act.go({ do: "edit", kind: "nebulisers", id: n.id })}>${t("office.change")}</button></div>`}</li>`;
}

/** @param {Solution} s @param {Ui} ui @param {Acts} act */
function batch(s, ui, act) {
  const late = isExpired(s, ui.today);
  return html`<li class=${late || s.gone ? "batch past" : "batch"}><span class=${`tag ${s.strength}`}>${lookUp(strengths, s.strength)}</span><span class="who"><b>${t("office.kit.batch_of", { agent: lookUp(agents, s.agent), lot: s.lot })}</b><small>${t("office.kit.made", { day: dayIn(s.made), who: s.who })}</small></span>
    <span class="stand"><strong>${s.gone ? t("office.kit.not_used") : late ? html`<span aria-hidden="true">⊘ </span>${t("office.refused.late", { day: dayIn(s.expires) })}` : t("office.good_until", { day: dayIn(s.expires) })}</strong></span>
    <details><summary>${t("office.kit.recipe")}</summary><p class="recipe">${s.recipe}</p><p class="small">${t("office.kit.source", { source: sourceShown(s.source) })}</p></details>
    <span class="does"><a class="to" href=${`/api/v1/solutions/${encodeURIComponent(s.id)}/label.pdf`} aria-label=${t("office.kit.label_of", { lot: s.lot })}>${t("office.kit.label")}</a><button class="plain-button" aria-label=${t("office.kit.change_lot", { lot: s.lot })} @click=${() => act.go({ do: "edit", kind: "solutions", id: s.id })}>${t("office.change")}</button></span></li>`;
}

/** A hood to scale beside the published one. @param {Hood} h @param {Acts} act */
function hood(h, act) {
  const s = hoodShown(h);
  const outline = (/** @type {number} */ across, /** @type {number} */ tall) => {
    const w = (across / 500) * 80;
    const high = (tall / 500) * 80;
    return `M${50 - w / 2} 84V${84 - high + w * 0.18}C${50 - w / 2} ${84 - high} ${50 + w / 2} ${84 - high} ${50 + w / 2} ${84 - high + w * 0.18}V84Z`;
  };
  return html`<li class=${s.warn ? "hood warn" : "hood"} aria-label=${h.mark}><svg class="outline" viewBox="0 0 100 90" aria-hidden="true"><path class="h-ref" d=${outline(hoodMM.across, hoodMM.tall)}></path>${h.across_mm && h.tall_mm ? svg`<path class="h-own" d=${outline(Math.min(600, h.across_mm), Math.min(520, h.tall_mm))}></path>` : nothing}</svg>
    <span class="who"><b>${h.mark}</b><small>${h.across_mm && h.tall_mm ? t("office.kit.measures", { across: figure(h.across_mm / 10, 1), tall: figure(h.tall_mm / 10, 1), volume: s.volume }) : t("office.kit.size_unknown")}</small><small>${s.warn ? html`<strong>! ${s.word}</strong>` : h.gone ? t("office.kit.not_used") : s.word}</small></span>
    <button class="plain-button" aria-label=${t("office.change_which", { name: h.mark })} @click=${() => act.go({ do: "edit", kind: "hoods", id: h.id })}>${t("office.change")}</button></li>`;
}

/** @param {Ui} ui */
function recipes(ui) {
  if (ui.recipes.length === 0) return html`<p>${t("office.kit.no_recipe")}</p>`;
  return html`<ul class="sheets">${ui.recipes.map((r) => {
    const at = `/api/v1/recipes/${encodeURIComponent(r.agent)}/${encodeURIComponent(r.strength)}/sheet.pdf?recipe=${encodeURIComponent(r.id)}`;
    const sizes = [r.volume_ml, ...[100, 200, 500].filter((ml) => ml > r.volume_ml)].slice(0, 3);
    const shown = recipeShown(r);
    return html`<li><span><b>${shown.name}</b><small>${shown.text}</small><small>${t("office.kit.source", { source: shown.source })}</small></span><span class="does">${sizes.map((ml) => html`<a class="to" href=${`${at}&ml=${ml}`} aria-label=${t("office.kit.sheet_for", { n: ml, name: shown.name })}>${ml} ml</a>`)}</span></li>`;
  })}</ul>`;
}

/** @param {Extract<Doing, {do: "recalled"}>} d @param {Acts} act */
function recalled(d, act) {
  return html`<p class="say">${d.sweep.people.length === 0 ? t("office.kit.nothing_depended", { mark: d.mark }) : d.lot ? rich("office.kit.batch_call_back", { n: d.sweep.people.length, lot: d.lot }) : rich("office.kit.call_back", { n: d.sweep.people.length, mark: d.mark })}</p>
    ${d.sweep.people.length ? html`<ul class="folk">${d.sweep.people.map((p) => html`<li><a class="person" href=${`/people/${encodeURIComponent(p)}`}>${pipSvg("cross")}<span class="who"><b><bdi>${d.names[p] ?? p}</bdi></b><small>${d.sweep.runs.filter((r) => r.person === p).map((r) => when(r.at)).join("; ")}</small></span></a></li>`)}</ul>` : nothing}
    <div class="either">${d.sweep.people.length ? html`<button @click=${() => print()}>${t("office.kit.print_list")}</button>` : nothing}<button class="primary" @click=${() => act.go({ do: "look" })}>${t("office.kit.back")}${d.lot ? nothing : html`<small>${t("office.kit.clean_there", { mark: d.mark })}</small>`}</button></div>`;
}
