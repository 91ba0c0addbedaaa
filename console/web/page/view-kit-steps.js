// SPDX-License-Identifier: Apache-2.0

// The things that are done with kit, one at a time: fill, look for mist, what a
// nebuliser without mist takes with it, enter and change. Pure.

import { html, nothing } from "./vendor/lit-html.js";
import { empty } from "./api.js";
import { count, fillRefused, modelOf, recipeText } from "./state-office.js";
import { when } from "./state-record.js";
import { either, field, filledIn, loading, textOf } from "./view-office.js";
import { filling } from "./words-office.js";
import { lookUp, outcomes } from "./words.js";

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
    ${may.length === 0 ? html`<p class="refused"><span aria-hidden="true">⊘ </span>No batch fits ${n.mark}: it takes ${n.role} ${n.agent} within its date. <button @click=${() => act.go({ do: "edit", kind: "solutions", id: "" })}>Enter a batch</button></p>` : nothing}
    <fieldset class="choice"><legend class="quiet">Batch</legend>${may.map(({ s }) => html`<label class="option big-option"><input type="radio" name="solution" value=${s.id} ?checked=${s.id === chosen} @change=${() => act.go({ do: "fill", id: n.id, solution: s.id })}><span><b>Lot ${s.lot}</b><small>${s.agent}, ${s.strength}; made or opened ${s.made} by ${s.who}; good until ${s.expires}</small></span></label>`)}</fieldset>
    ${not.length ? html`<section aria-label="Refused"><h2>Refused for ${n.mark}</h2><ul class="points">${not.map(({ s, why }) => html`<li><b>Lot ${s.lot}</b>, ${why}</li>`)}</ul></section>` : nothing}
    <ol class="points do-list">${filling.map((x) => html`<li>${x}</li>`)}</ol>
    <div class="either sticky"><button class="primary" ?disabled=${chosen === "" || o.working} @click=${() => act.fill(n, chosen)}>Filled just now<small>${chosen === "" ? "choose the lot first" : `${n.mark} from lot ${k.solutions.find((s) => s.id === chosen)?.lot ?? ""}; good for four hours`}</small></button>
      <button @click=${() => act.go({ do: "look" })}>Leave it<small>as it was</small></button></div>`;
}

/** @param {Nebuliser} n @param {Office} o @param {Acts} act */
export function seen(n, o, act) {
  return html`<p>Hold it up against the light. A fine mist has to come at each squeeze; drops or air alone are no mist.</p>
    <div class="answers"><button ?disabled=${o.working} @click=${() => act.good(n)}>Mist came<small>${n.mark} may be used</small></button><button ?disabled=${o.working} @click=${() => act.sweep(n)}>No mist<small>shows first what that takes with it</small></button></div>
    <p><button @click=${() => act.go({ do: "look" })}>Leave it<small>nothing is noted</small></button></p>`;
}

/** @param {Nebuliser} n @param {{sweep: import("./api.js").Sweep|null, names: Record<string, string>}} d @param {Office} o @param {Acts} act */
export function bad(n, d, o, act) {
  const s = d.sweep;
  const leave = html`<button @click=${() => act.go({ do: "look" })}>Leave it<small>nothing is noted</small></button>`;
  if (s === null) return html`${o.problem ? nothing : loading("Looking which tests depend on it.")}<div class="either">${leave}</div>`;
  const since = s.since ? html`since mist was last seen, <b>${when(s.since)}</b>` : html`ever; <b>no good mist check</b> of it is on record`;
  if (s.runs.length === 0) {
    return html`<p class="say">No test that counts was made with ${n.mark} ${since}.</p><p>The check is noted, and ${n.mark} is refused until it was cleaned, filled and seen to mist.</p>
      <div class="either"><button class="primary" ?disabled=${o.working} @click=${() => act.bad(n, s)}>Note it: no mist</button>${leave}</div>`;
  }
  return html`<p class="say"><em>${count(s.runs.length, "test")}</em> made with ${n.mark} ${since}, would not be valid any more. Nobody knows whether mist came.</p>
    <div class="scroll" tabindex="0" role="region" aria-label="Tests that would not be valid any more"><table><thead><tr><th scope="col">When</th><th scope="col">Run</th><th scope="col">Wearer</th><th scope="col">Facepiece</th><th scope="col">Now</th><th scope="col">Then</th></tr></thead><tbody>${s.runs.map(
      (r) => html`<tr><td>${when(r.at)}</td><td><a href=${`/records/${encodeURIComponent(r.run)}`}>${r.run}</a></td><td><bdi>${d.names[r.person] ?? r.person}</bdi></td><td>${modelOf(r)}</td><td class="outcome">${lookUp(outcomes, r.outcome)}</td><td class="outcome">${outcomes.not_valid}</td></tr>`,
    )}</tbody></table></div>
    <p>${s.people.length === 1 ? "One person is" : `${s.people.length} people are`} to be called back: ${s.people.map((p, i) => html`${i ? ", " : ""}<b><bdi>${d.names[p] ?? p}</bdi></b>`)}. Their own records stay as they are; what is added says that they do not count.</p>
    <div class="either sticky"><button class="primary" ?disabled=${o.working} @click=${() => act.bad(n, s)}>No mist: ${count(s.runs.length, "test")} not valid<small>cannot be taken back</small></button>${leave}</div>`;
}

/**
 * Title, sentence and form of an entry.
 * @param {{kind: import("./view-kit.js").Kind, id: string, recipe?: number}} d @param {Kit} k @param {Ui} ui @param {Office} o @param {Acts} act
 */
export function editing(d, k, ui, o, act) {
  const known = d.id !== "";
  const gone = (/** @type {boolean} */ on) => (known ? html`<label class="option wide"><input type="checkbox" name="gone" ?checked=${on}><span>Not used any more; its records stay</span></label>` : nothing);
  const send = (/** @type {(f: FormData) => object} */ of) => (/** @type {Event} */ e) => {
    const f = filledIn(e);
    act.save(d.kind, d.id, { ...of(f), gone: f.get("gone") === "on" });
  };
  const buttons = html`<div class="either wide"><button class="primary" ?disabled=${o.working}>${known ? "Save the change" : "Enter it"}</button><button type="button" @click=${() => act.go({ do: "look" })}>Leave it<small>as it was</small></button></div>`;
  if (d.kind === "hoods") {
    const h = k.hoods.find((x) => x.id === d.id) ?? { ...empty.hood };
    return { title: known ? `Hood ${h.mark}` : "Enter a hood", say: "Measure it where it is *widest*, and from the rim to the top.", body: html`<form class="sheet-form" aria-label="Hood" @submit=${send((f) => ({ mark: textOf(f, "mark"), across_mm: Math.round(Number(textOf(f, "across"))), tall_mm: Math.round(Number(textOf(f, "tall"))) }))}>
      ${field("mark", "Mark", h.mark, { required: true, hint: "as on the hood" })}${field("across", "Across, in mm", String(h.across_mm || ""), { type: "number", min: "0", max: "2000", hint: "published 305" })}${field("tall", "Tall, in mm", String(h.tall_mm || ""), { type: "number", min: "0", max: "2000", hint: "published 356" })}${gone(h.gone)}${buttons}</form>` };
  }
  if (d.kind === "nebulisers") {
    const n = k.nebulisers.find((x) => x.id === d.id);
    const v = n ?? empty.nebuliser;
    const fixed = n !== undefined && n.filled !== "";
    return { title: known ? `Nebuliser ${v.mark}` : "Enter a nebuliser", say: fixed ? `*${v.mark}* was filled before, so it stays *${v.role}* and *${v.agent}*.` : "One mark, one role, one agent: *weak and strong are never exchanged*.", body: html`<form class="sheet-form" aria-label="Nebuliser" @submit=${send((f) => ({ mark: textOf(f, "mark"), role: fixed ? v.role : textOf(f, "role"), agent: fixed ? v.agent : textOf(f, "agent") }))}>
      ${field("mark", "Mark", v.mark, { required: true, hint: "read out before each part of a test" })}
      ${fixed ? nothing : html`<div>${either("role", "For", v.role, [["weak", "weak: sensitivity test"], ["strong", "strong: fit test"]])}</div><div>${either("agent", "Agent", v.agent, [["sweet", "sweet"], ["bitter", "bitter"]])}</div>`}${gone(v.gone)}${buttons}</form>` };
  }
  const known2 = k.solutions.find((x) => x.id === d.id);
  const r = d.recipe === undefined ? undefined : ui.recipes[d.recipe];
  const s = known2 ?? { ...empty.solution, made: ui.today, who: o.by, ...(r ? { agent: r.agent, strength: r.strength, recipe: recipeText(r), source: r.source } : {}) };
  return { title: known ? `Lot ${s.lot}` : "Enter a batch", say: known ? "" : "Copy from the label of the bottle. A recipe is taken *as published*, never computed from another.", body: html`
    ${known || ui.recipes.length === 0 ? nothing : html`<div class="field"><span>Begin with a published recipe</span><div class="either">${ui.recipes.map((x, i) => html`<button aria-pressed=${d.recipe === i ? "true" : "false"} class=${d.recipe === i ? "held" : ""} @click=${() => act.go({ ...d, do: "edit", recipe: i })}>${x.agent}, ${x.strength}<small>${x.name.split(", ").at(-1)}</small></button>`)}</div></div>`}
    ${[`${d.id}${d.recipe ?? ""}`].map(() => html`<form class="sheet-form" aria-label="Batch" @submit=${send((f) => Object.fromEntries(["agent", "strength", "lot", "made", "expires", "recipe", "source", "who"].map((key) => [key, textOf(f, key)])))}>
      <div>${either("agent", "Agent", s.agent, [["sweet", "sweet"], ["bitter", "bitter"]])}</div><div>${either("strength", "Strength", s.strength, [["weak", "weak"], ["strong", "strong"]])}</div>
      ${field("lot", "Lot", s.lot, { required: true })}${field("who", "Made or opened by", s.who, { required: true })}${field("made", "Made or opened on", s.made, { type: "date", required: true })}${field("expires", "Good until", s.expires, { type: "date", required: true, hint: "the last good day" })}
      ${field("recipe", "Recipe", s.recipe, { type: "area", required: true, most: 4000, wide: true, hint: "as text, or what the bottle says" })}${field("source", "Source of the recipe", s.source, { required: true, most: 400, wide: true })}${gone(s.gone)}${buttons}</form>`)}` };
}
