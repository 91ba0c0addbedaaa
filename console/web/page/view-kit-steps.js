// SPDX-License-Identifier: Apache-2.0

// The things that are done with kit, one at a time: fill, look for mist, what a
// nebuliser without mist takes with it, enter and change. Pure.

import { html, nothing } from "./vendor/lit-html.js";
import { empty } from "./api.js";
import { dayIn, t } from "./lang.js";
import { fillRefused, modelOf, recipeShown, recipeText } from "./state-office.js";
import { when } from "./state-record.js";
import { either, field, filledIn, loading, textOf } from "./view-office.js";
import { bold, rich } from "./view-words.js";
import { filling, strengths } from "./words-office.js";
import { agents, lookUp, outcomes } from "./words.js";

/** @typedef {import("./view-kit.js").Ui} Ui */
/** @typedef {import("./view-kit.js").Acts} Acts */
/** @typedef {import("./view-kit.js").Kit} Kit */
/** @typedef {import("./view-kit.js").Nebuliser} Nebuliser */
/** @typedef {import("./office.js").Office} Office */

/** @param {Nebuliser} n @param {string} chosen @param {Kit} k @param {Ui} ui @param {Office} o @param {Acts} act */
export function fill(n, chosen, k, ui, o, act) {
  const all = k.solutions.filter((s) => !s.gone).map((s) => ({ s, why: fillRefused(n, s, ui.today) }));
  const may = all.filter((x) => x.why === "");
  const not = all.filter((x) => x.why !== "");
  return html`
    ${may.length === 0 ? html`<p class="refused"><span aria-hidden="true">⊘ </span>${t(n.role === "weak" ? "office.kit.no_fit" : "office.kit.no_fit_strong", { mark: n.mark, agent: lookUp(agents, n.agent) })} <button @click=${() => act.go({ do: "edit", kind: "solutions", id: "" })}>${t("office.kit.enter_batch")}</button></p>` : nothing}
    <fieldset class="choice"><legend class="quiet">${t("office.kit.batch")}</legend>${may.map(({ s }) => html`<label class="option big-option"><input type="radio" name="solution" value=${s.id} ?checked=${s.id === chosen} @change=${() => act.go({ do: "fill", id: n.id, solution: s.id })}><span><b>${t("office.kit.lot_name", { lot: s.lot })}</b><small>${lookUp(agents, s.agent)}, ${lookUp(strengths, s.strength)}; ${t("office.kit.made", { day: dayIn(s.made), who: s.who })}; ${t("office.good_until", { day: dayIn(s.expires) })}</small></span></label>`)}</fieldset>
    ${not.length ? html`<section aria-label=${t("office.kit.refused")}><h2>${t("office.kit.refused_for", { mark: n.mark })}</h2><ul class="points">${not.map(({ s, why }) => html`<li><b>${t("office.kit.lot_name", { lot: s.lot })}</b>, ${why}</li>`)}</ul></section>` : nothing}
    <ol class="points do-list">${filling().map((x) => html`<li>${x}</li>`)}</ol>
    <div class="either sticky"><button class="primary" ?disabled=${chosen === "" || o.working} @click=${() => act.fill(n, chosen)}>${t("office.kit.filled_now")}<small>${chosen === "" ? t("office.kit.choose_lot") : t("office.kit.filled_from", { mark: n.mark, lot: k.solutions.find((s) => s.id === chosen)?.lot ?? "" })}</small></button>
      <button @click=${() => act.go({ do: "look" })}>${t("office.person.leave")}<small>${t("office.as_it_was")}</small></button></div>`;
}

/** @param {Nebuliser} n @param {Office} o @param {Acts} act */
export function seen(n, o, act) {
  return html`<p>${t("office.kit.hold_up")}</p>
    <div class="answers"><button ?disabled=${o.working} @click=${() => act.good(n)}>${t("office.kit.mist_came")}<small>${t("office.kit.may_use", { mark: n.mark })}</small></button><button ?disabled=${o.working} @click=${() => act.sweep(n)}>${t("office.kit.no_mist")}<small>${t("office.kit.shows_first")}</small></button></div>
    <p><button @click=${() => act.go({ do: "look" })}>${t("office.person.leave")}<small>${t("office.kit.nothing_noted")}</small></button></p>`;
}

/** @param {Nebuliser} n @param {{sweep: import("./api.js").Sweep|null, names: Record<string, string>}} d @param {Office} o @param {Acts} act */
export function bad(n, d, o, act) {
  const s = d.sweep;
  const leave = html`<button @click=${() => act.go({ do: "look" })}>${t("office.person.leave")}<small>${t("office.kit.nothing_noted")}</small></button>`;
  if (s === null) return html`${o.problem ? nothing : loading(t("office.kit.looking_tests"))}<div class="either">${leave}</div>`;
  if (s.runs.length === 0) {
    return html`<p class="say">${s.since ? rich("office.kit.none_since", { mark: n.mark, when: when(s.since) }, bold) : rich("office.kit.none_ever", { mark: n.mark }, bold)}</p><p>${t("office.kit.refused_until", { mark: n.mark })}</p>
      <div class="either"><button class="primary" ?disabled=${o.working} @click=${() => act.bad(n, s)}>${t("office.kit.note_no_mist")}</button>${leave}</div>`;
  }
  return html`<p class="say">${s.since ? rich("office.kit.not_valid_since", { n: s.runs.length, mark: n.mark, when: when(s.since) }) : rich("office.kit.not_valid_ever", { n: s.runs.length, mark: n.mark })}</p>
    ${taken(s, d.names)}
    <div class="either sticky"><button class="primary" ?disabled=${o.working} @click=${() => act.bad(n, s)}>${t("office.kit.no_mist_tests", { n: s.runs.length })}<small>${t("office.kit.no_way_back")}</small></button>${leave}</div>`;
}

/** The tests of a sweep and their people. @param {import("./api.js").Sweep} s @param {Record<string, string>} names */
function taken(s, names) {
  return html`<div class="scroll" tabindex="0" role="region" aria-label=${t("office.kit.table")}><table><thead><tr><th scope="col">${t("office.kit.when")}</th><th scope="col">${t("office.kit.run")}</th><th scope="col">${t("office.kit.wearer")}</th><th scope="col">${t("office.kit.facepiece")}</th><th scope="col">${t("office.kit.now")}</th><th scope="col">${t("office.kit.then")}</th></tr></thead><tbody>${s.runs.map(
      (r) => html`<tr><td>${when(r.at)}</td><td><a href=${`/records/${encodeURIComponent(r.run)}`}>${r.run}</a></td><td><bdi>${names[r.person] ?? r.person}</bdi></td><td>${modelOf(r)}</td><td class="outcome">${lookUp(outcomes, r.outcome)}</td><td class="outcome">${outcomes.not_valid}</td></tr>`,
    )}</tbody></table></div>
    <p>${rich("office.kit.to_call", { n: s.people.length, names: s.people.map((p, i) => html`${i ? ", " : ""}<b><bdi>${names[p] ?? p}</bdi></b>`) })}</p>`;
}

/** @param {Extract<import("./view-kit.js").Doing, {do: "batch"}>} d @param {Office} o @param {Acts} act */
export function another(d, o, act) {
  return html`<p class="say">${rich("office.kit.batch_not_valid", { n: d.sweep.runs.length, lot: d.form.lot })}</p>
    ${taken(d.sweep, d.names)}
    <div class="either sticky"><button class="primary" ?disabled=${o.working} @click=${() => act.batch(d)}>${t("office.kit.batch_tests", { n: d.sweep.runs.length })}<small>${t("office.kit.no_way_back")}</small></button><button @click=${() => act.go({ do: "look" })}>${t("office.person.leave")}<small>${t("office.as_it_was")}</small></button></div>`;
}

/**
 * Title, sentence and form of an entry.
 * @param {{kind: import("./view-kit.js").Kind, id: string, recipe?: number}} d @param {Kit} k @param {Ui} ui @param {Office} o @param {Acts} act
 */
export function editing(d, k, ui, o, act) {
  const known = d.id !== "";
  const gone = (/** @type {boolean} */ on) => (known ? html`<label class="option wide"><input type="checkbox" name="gone" ?checked=${on}><span>${t("office.not_used")}</span></label>` : nothing);
  const send = (/** @type {(f: FormData) => object} */ of) => (/** @type {Event} */ e) => {
    const f = filledIn(e);
    act.save(d.kind, d.id, { ...of(f), gone: f.get("gone") === "on" });
  };
  const buttons = html`<div class="either wide"><button class="primary" ?disabled=${o.working}>${known ? t("office.kit.save") : t("office.kit.enter_it")}</button><button type="button" @click=${() => act.go({ do: "look" })}>${t("office.person.leave")}<small>${t("office.as_it_was")}</small></button></div>`;
  if (d.kind === "hoods") {
    const h = k.hoods.find((x) => x.id === d.id) ?? { ...empty.hood };
    return { title: known ? t("office.kit.hood_title", { mark: h.mark }) : t("office.kit.enter_hood"), say: t("office.kit.measure"), body: html`<form class="sheet-form" aria-label=${t("office.kit.hood")} @submit=${send((f) => ({ mark: textOf(f, "mark"), across_mm: Math.round(Number(textOf(f, "across"))), tall_mm: Math.round(Number(textOf(f, "tall"))) }))}>
      ${field("mark", t("office.kit.mark"), h.mark, { required: true, hint: t("office.kit.mark_hood") })}${field("across", t("office.kit.across"), String(h.across_mm || ""), { type: "number", min: "0", max: "2000", hint: t("office.kit.across_hint") })}${field("tall", t("office.kit.tall"), String(h.tall_mm || ""), { type: "number", min: "0", max: "2000", hint: t("office.kit.tall_hint") })}${gone(h.gone)}${buttons}</form>` };
  }
  if (d.kind === "nebulisers") {
    const n = k.nebulisers.find((x) => x.id === d.id);
    const v = n ?? empty.nebuliser;
    const fixed = n !== undefined && n.filled !== "";
    return { title: known ? t("office.kit.neb_title", { mark: v.mark }) : t("office.kit.enter_neb"), say: fixed ? t(v.role === "weak" ? "office.kit.stays_weak" : "office.kit.stays_strong", { mark: v.mark, agent: lookUp(agents, v.agent) }) : t("office.kit.never_exchanged"), body: html`<form class="sheet-form" aria-label=${t("office.kit.nebuliser")} @submit=${send((f) => ({ mark: textOf(f, "mark"), role: fixed ? v.role : textOf(f, "role"), agent: fixed ? v.agent : textOf(f, "agent") }))}>
      ${field("mark", t("office.kit.mark"), v.mark, { required: true, hint: t("office.kit.mark_read") })}
      ${fixed ? nothing : html`<div>${either("role", t("office.kit.for"), v.role, [["weak", t("office.kit.for_weak")], ["strong", t("office.kit.for_strong")]])}</div><div>${either("agent", t("office.kit.agent"), v.agent, [["sweet", lookUp(agents, "sweet")], ["bitter", lookUp(agents, "bitter")]])}</div>`}${gone(v.gone)}${buttons}</form>` };
  }
  const known2 = k.solutions.find((x) => x.id === d.id);
  const r = d.recipe === undefined ? undefined : ui.recipes[d.recipe];
  const s = known2 ?? { ...empty.solution, made: ui.today, who: o.by, ...(r ? { agent: r.agent, strength: r.strength, recipe: recipeText(r), source: r.source } : {}) };
  return { title: known ? t("office.kit.lot_name", { lot: s.lot }) : t("office.kit.enter_batch"), say: known ? "" : t("office.kit.copy_label"), body: html`
    ${known || ui.recipes.length === 0 ? nothing : html`<div class="field"><span>${t("office.kit.begin_recipe")}</span><div class="either">${ui.recipes.map((x, i) => html`<button aria-pressed=${d.recipe === i ? "true" : "false"} class=${d.recipe === i ? "held" : ""} @click=${() => act.go({ ...d, do: "edit", recipe: i })}>${lookUp(agents, x.agent)}, ${lookUp(strengths, x.strength)}<small>${recipeShown(x).name.split(", ").at(-1)}</small></button>`)}</div></div>`}
    ${[`${d.id}${d.recipe ?? ""}`].map(() => html`<form class="sheet-form" aria-label=${t("office.kit.batch")} @submit=${send((f) => Object.fromEntries(["agent", "strength", "lot", "made", "expires", "recipe", "source", "who"].map((key) => [key, textOf(f, key)])))}>
      <div>${either("agent", t("office.kit.agent"), s.agent, [["sweet", lookUp(agents, "sweet")], ["bitter", lookUp(agents, "bitter")]])}</div><div>${either("strength", t("office.kit.strength"), s.strength, [["weak", lookUp(strengths, "weak")], ["strong", lookUp(strengths, "strong")]])}</div>
      ${field("lot", t("office.kit.lot_field"), s.lot, { required: true })}${field("who", t("office.kit.made_by"), s.who, { required: true })}${field("made", t("office.kit.made_on"), s.made, { type: "date", required: true })}${field("expires", t("office.kit.good_until"), s.expires, { type: "date", required: true, hint: t("office.kit.last_day") })}
      ${field("recipe", t("office.kit.recipe"), s.recipe, { type: "area", required: true, most: 4000, wide: true, hint: t("office.kit.recipe_hint") })}${field("source", t("office.kit.source_field"), s.source, { required: true, most: 400, wide: true })}${gone(s.gone)}${buttons}</form>`)}` };
}
