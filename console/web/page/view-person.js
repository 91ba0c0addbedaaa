// SPDX-License-Identifier: Apache-2.0

// One person: how they stand, what changed, their tests, what is kept about
// them, and how it ends. There is nothing medical here. Pure.

import { html, nothing } from "./vendor/lit-html.js";
import { empty } from "./api.js";
import { called, changes, labelOf, modelOf, personSentence, standing, yearLine } from "./state-office.js";
import { when } from "./state-record.js";
import { marks } from "./state.js";
import { drawing, either, field, filledIn, loading, office, pipSvg, textOf } from "./view-office.js";
import { dueWhys, erasure, languages, rules as ruleNames, triggers } from "./words-office.js";
import { agents, lookUp, outcomes, reasons } from "./words.js";

/** @typedef {import("./api.js").Person} Person */
/** @typedef {import("./api.js").PersonForm} PersonForm */
/**
 * @typedef {object} Ui
 * @property {Person|null} person      null: not read yet, or a new one
 * @property {import("./api.js").Run[]} runs
 * @property {"look"|"edit"|"new"|"clear"|"erase"|"gone"} mode
 * @property {string} name             to begin a new one with
 * @property {string} typed            what is typed to confirm an erasure
 * @property {import("./api.js").Facepiece[]} facepieces
 * @property {{id: string, label: string}[]} rules
 * @property {string} today
 */
/**
 * @typedef {object} Own
 * @property {(mode: Ui["mode"]) => void} mode
 * @property {(form: PersonForm) => void} save
 * @property {(key: string) => void} trigger
 * @property {(on: string, who: string) => void} clear
 * @property {(on: string) => void} left
 * @property {(text: string) => void} type
 * @property {(reason: string) => void} erase
 */
/** @typedef {Own & import("./view-office.js").OfficeActs} Acts */

/** @param {import("./office.js").Office} o @param {Ui} ui @param {Acts} act */
export function person(o, ui, act) {
  const p = ui.person;
  if (ui.mode === "gone") {
    return office({ here: "/people", title: "Erased", cls: "one" }, o, act, html`<p class="say">Erased. Nobody can read what was kept about this person, on this box.</p>
      <p>The outcomes of the tests stay, without a name. Copies outside the box are yours to destroy: printed records, cards, lists and older backups.</p><p class="links"><a class="to first" href="/people">Back to all people</a></p>`);
  }
  if (ui.mode === "new") return office({ here: "/people", title: "Enter a person", cls: "one" }, o, act, form({ ...empty.person, name: ui.name }, null, o, ui, act));
  if (p === null) {
    return office({ here: "/people", title: "Person", cls: "one" }, o, act, o.problem ? html`<p class="links"><a class="to first" href="/people">Back to all people</a></p>` : loading("Reading what is known about this person."));
  }
  const label = (/** @type {string} */ id) => labelOf(ui.facepieces, id);
  const title = html`<bdi>${called(p)}</bdi>`;
  if (ui.mode === "edit") return office({ here: "/people", title, cls: "one" }, o, act, form(p, p, o, ui, act));
  if (ui.mode === "erase") return office({ here: "/people", title, cls: "one" }, o, act, erase(p, o, ui, act));
  return office({ here: "/people", title, cls: "one", say: personSentence(p, ui.today, label) }, o, act, html`
    <p class="facts">${[p.name && p.number ? `no. ${p.number}` : "", p.job, p.languages.map((l) => lookUp(languages, l)).join(", "), ruleName(ui, p.rules), p.agent ? lookUp(agents, p.agent) : ""].filter(Boolean).map((x) => html`<span><bdi>${x}</bdi></span>`)}<a class="to" href=${`/bench?person=${encodeURIComponent(p.id)}`}>Test on the Bench</a></p>
    ${p.note ? html`<p class="remark">${p.note}</p>` : nothing}
    ${worn(p, ui, act, label)}
    <div class="two">${p.left ? html`<div></div>` : changed(p, o, act)}${cleared(p, o, ui, act)}</div>
    ${tests(ui)}
    ${ends(p, o, ui, act)}`);
}

/** @param {Ui} ui @param {string} id */
function ruleName(ui, id) {
  return id === "" ? "" : (ui.rules.find((r) => r.id === id)?.label ?? lookUp(ruleNames, id));
}

/** @param {Person} p @param {Ui} ui @param {Acts} act @param {(id: string) => string} label */
function worn(p, ui, act, label) {
  return html`<section aria-label="Facepieces of the job"><h2 class="quiet">Facepieces of the job</h2>
    <ul class="folk">${p.facepieces.map((id) => {
      const d = p.due.find((x) => x.facepiece === id);
      const passed = p.tested.find((t) => t.facepiece === id);
      const s = d ? standing(d.on, ui.today) : { pip: p.left ? "off" : "given", word: p.left ? "no test due" : "no further date", key: "good" };
      const fails = p.fails[id] ?? 0;
      return html`<li class=${`person is-${s.key}`}>${pipSvg(s.pip)}<span class="who"><b>${label(id)}</b><small>${passed ? html`passed <a href=${`/records/${encodeURIComponent(passed.run)}`}>${passed.on}</a>${passed.trusted ? "" : ", day not sure"}` : "never tested with it"}${fails ? `, failed ${fails === 1 ? "once" : `${fails} times`} since` : ""}</small></span>
        ${drawing(yearLine(ui.today, passed?.on ?? "", d?.on ?? ""), 300, 36, "", "year")}<span class="stand"><strong>${s.word}</strong><small>${d ? lookUp(dueWhys, d.why) : ""}</small></span></li>`;
    })}</ul>
    <p><button @click=${() => act.mode("edit")}>Change the entry<small>name, job, facepieces, rules</small></button></p></section>`;
}

/** @param {Person} p @param {import("./office.js").Office} o @param {Acts} act */
function changed(p, o, act) {
  return html`<section aria-label="Something changed"><h2>Something changed?</h2>
    <p>One touch makes every test of this person due now. It can be taken back for a few seconds.</p>
    <div class="trig">${triggers.map((t) => html`<button ?disabled=${o.working} @click=${() => act.trigger(t.key)}>${t.name}<small>${t.hint}</small></button>`)}</div>
    ${p.triggered ? html`<p class="small">Noted last: ${triggers.find((t) => t.key === p.triggered?.trigger)?.noted ?? p.triggered.trigger}, ${p.triggered.on}.</p>` : nothing}</section>`;
}

/** @param {Person} p @param {import("./office.js").Office} o @param {Ui} ui @param {Acts} act */
function cleared(p, o, ui, act) {
  return html`<section aria-label="Clearance"><h2>Cleared to wear it?</h2>
    ${ui.mode === "clear"
      ? html`<form class="small-form" @submit=${(/** @type {Event} */ e) => {
          const f = filledIn(e);
          act.clear(textOf(f, "on"), textOf(f, "who"));
        }}>${field("on", "Cleared on", ui.today, { type: "date", required: true, max: ui.today })}${field("who", "By which clinician or practice", "", { required: true })}
          <p class="small">Only that it was said, when and by whom. Nothing medical here.</p>
          <div class="either"><button class="primary" ?disabled=${o.working}>Note the clearance</button><button type="button" @click=${() => act.mode("look")}>Leave it</button></div></form>`
      : html`<p>${p.cleared ? html`Yes, on <b>${p.cleared.on}</b> by <b>${p.cleared.who}</b>.` : html`<span aria-hidden="true">⊘ </span>No clearance is on record. Where the law or the employer asks for one, it comes before the test.`}</p>
        <p><button @click=${() => act.mode("clear")}>${p.cleared ? "Note a newer one" : "Note a clearance"}<small>when, and by whom; nothing medical</small></button></p>`}</section>`;
}

/** @param {Ui} ui */
function tests(ui) {
  return html`<section aria-label="Tests"><h2>Tests</h2>${ui.runs.length === 0
    ? html`<p>None yet.</p>`
    : html`<div class="scroll" tabindex="0" role="region" aria-label="Table of tests"><table><thead><tr><th scope="col">When</th><th scope="col">Facepiece</th><th scope="col">Outcome</th><th scope="col">Why</th><th scope="col">Tester</th></tr></thead><tbody>${[...ui.runs].reverse().map(
        (r) => html`<tr><td><a href=${`/records/${encodeURIComponent(r.run)}`}>${when(r.at) || r.run}</a></td><td>${modelOf(r)}</td><td class=${`outcome ${r.outcome}`}><span aria-hidden="true">${marks[r.outcome] ?? ""}</span> ${lookUp(outcomes, r.outcome)}${r.practice ? html` <span class="stamp">practice</span>` : nothing}</td><td>${r.recalled ? `recalled: ${r.recalled}` : r.reason ? lookUp(reasons, r.reason) : ""}</td><td>${r.tester}</td></tr>`,
      )}</tbody></table></div>`}</section>`;
}

/** @param {Person} p @param {import("./office.js").Office} o @param {Ui} ui @param {Acts} act */
function ends(p, o, ui, act) {
  return html`<section class="ends" aria-label="What is kept"><h2>What is kept about this person</h2>
    <div class="either"><a class="to" href=${`/api/v1/people/${encodeURIComponent(p.id)}/export`} download=${`${p.id}.json`}>Everything, as a file</a>
      ${p.left ? nothing : html`<button ?disabled=${o.working} @click=${() => act.left(ui.today)}>Has left<small>no test is due any more</small></button>`}
      <button @click=${() => act.mode("erase")}>Erase this person<small>shows first what goes and what stays</small></button></div></section>`;
}

/** @param {PersonForm} f @param {Person|null} was @param {import("./office.js").Office} o @param {Ui} ui @param {Acts} act */
function form(f, was, o, ui, act) {
  const send = (/** @type {Event} */ e) => {
    const d = filledIn(e);
    act.save({
      name: textOf(d, "name"), number: textOf(d, "number"), job: textOf(d, "job"), languages: d.getAll("language").map(String).filter((l, i, all) => l !== "" && all.indexOf(l) === i),
      facepieces: d.getAll("facepiece").map(String), rules: textOf(d, "rules"), agent: textOf(d, "agent"), note: textOf(d, "note"),
    });
  };
  const kept = ui.facepieces.filter((x) => !x.gone || f.facepieces.includes(x.id));
  const language = (/** @type {number} */ i, /** @type {string} */ label) => html`<label class="field"><span>${label}</span><select name="language"><option value="" ?selected=${!f.languages[i]}>none</option>${Object.entries(languages).map(([code, name]) => html`<option value=${code} lang=${code} ?selected=${f.languages[i] === code}>${name}</option>`)}</select></label>`;
  return html`<form class="sheet-form" aria-label="Entry" @submit=${send}>
    ${field("name", "Name", f.name, { hint: "or the number alone" })}${field("number", "Company number", f.number)}${field("job", "Job", f.job)}
    ${language(0, "Language of cues and pages")}${language(1, "Second language")}
    <fieldset class="field wide"><legend>Facepieces that the job asks for</legend>${kept.length === 0
      ? html`<p>None is entered yet. <a href="/facepieces">Enter the facepieces</a> first; a person can be saved without.</p>`
      : html`<div class="either">${kept.map((x) => html`<label class="option"><input type="checkbox" name="facepiece" value=${x.id} ?checked=${f.facepieces.includes(x.id)}><span>${modelOf(x)}</span></label>`)}</div>`}</fieldset>
    ${either("rules", "Rules", f.rules, [["", "those of the house"], ...ui.rules.map((r) => /** @type {[string, string]} */ ([r.id, r.label]))])}
    ${either("agent", "Agent", f.agent, [["", "any"], ...Object.entries(agents)])}
    ${field("note", "Note", f.note, { type: "area", hint: "short; nothing medical here", most: 400, wide: true })}
    <div class="either wide"><button class="primary" ?disabled=${o.working}>${was ? "Save the change" : "Enter this person"}</button>${was ? html`<button type="button" @click=${() => act.mode("look")}>Leave it<small>as it was</small></button>` : html`<a class="to" href="/people">Leave it</a>`}</div>
  </form>`;
}

/** @param {Person} p @param {import("./office.js").Office} o @param {Ui} ui @param {Acts} act */
function erase(p, o, ui, act) {
  const asked = called(p);
  const right = ui.typed.trim().normalize("NFC") === asked.normalize("NFC");
  return html`<section class="erase" aria-label="Erase this person">
    <p class="say">Erase <em><bdi>${asked}</bdi></em> for good? It cannot be undone.</p>
    <div class="two"><div><h2>This goes</h2><ul class="points">${erasure.goes.map((x) => html`<li>${x}</li>`)}</ul></div><div><h2>This stays</h2><ul class="points">${erasure.stays.map((x) => html`<li>${x}</li>`)}</ul></div></div>
    <p class="links"><a class="to" href=${`/api/v1/people/${encodeURIComponent(p.id)}/export`} download=${`${p.id}.json`}>First take everything along, as a file</a></p>
    <form class="sheet-form" @submit=${(/** @type {Event} */ e) => {
      const f = filledIn(e);
      if (right) act.erase(textOf(f, "reason"));
    }}>
      ${field("reason", "Reason", "", { hint: "stays in the journal: no name", required: true, most: 400 })}
      <label class="field"><span>Type <b><bdi>${asked}</bdi></b> to confirm</span><input name="typed" type="text" autocomplete="off" .value=${ui.typed} @input=${(/** @type {Event} */ e) => act.type(/** @type {HTMLInputElement} */ (e.target).value)}></label>
      <div class="either wide"><button class="primary" ?disabled=${!right || o.working}>Erase for good<small>${right ? "the key is destroyed" : "once the name is typed"}</small></button><button type="button" @click=${() => act.mode("look")}>Leave it<small>nothing was changed</small></button></div>
    </form></section>`;
}

/** Names of a person's fields, for saying what was changed. @type {Record<string, string>} */
export const fieldNames = { name: "name", number: "number", job: "job", languages: "languages", facepieces: "facepieces", rules: "rules", agent: "agent", note: "note" };

/** @param {PersonForm} was @param {PersonForm} is */
export function changedFields(was, is) {
  return changes(/** @type {any} */ (was), /** @type {any} */ (is), fieldNames);
}
