// SPDX-License-Identifier: Apache-2.0

// One person: how they stand, what changed, their tests, what is kept about
// them, and how it ends. There is nothing medical here. Pure.

import { html, nothing } from "./vendor/lit-html.js";
import { empty } from "./api.js";
import { dayIn, sentences, t } from "./lang.js";
import { called, changes, labelOf, modelOf, personSentence, standing, yearLine } from "./state-office.js";
import { when } from "./state-record.js";
import { marks } from "./state.js";
import { dateField } from "./view-date.js";
import { drawing, either, field, filledIn, loading, office, pipSvg, textOf, typedIn } from "./view-office.js";
import { bold, rich } from "./view-words.js";
import { dueWhys, erasure, languageChoices, languages, rules as ruleNames, triggers } from "./words-office.js";
import { agents, lookUp, outcomes, reasons, ruleName as ruleTold } from "./words.js";

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
 * @property {string} on               the day whose list is looked at
 * @property {boolean|null} listed     on that list; null: not read yet
 */
/**
 * @typedef {object} Own
 * @property {(mode: Ui["mode"]) => void} mode
 * @property {(form: PersonForm) => void} save
 * @property {(key: string) => void} trigger
 * @property {(on: string, who: string) => void} clear
 * @property {(on: string) => void} left
 * @property {() => void} back
 * @property {(on: string) => void} onDay
 * @property {(off: boolean) => void} list
 * @property {(text: string) => void} type
 * @property {(reason: string) => void} erase
 */
/** @typedef {Own & import("./view-office.js").OfficeActs} Acts */

/** @param {import("./office.js").Office} o @param {Ui} ui @param {Acts} act */
export function person(o, ui, act) {
  const p = ui.person;
  if (ui.mode === "gone") {
    return office({ here: "/people", title: t("office.person.erased_title"), cls: "one" }, o, act, html`<p class="say">${t("office.person.erased")}</p>
      <p>${t("office.person.erased_copies")}</p><p class="links"><a class="to first" href="/people">${t("office.person.back")}</a></p>`);
  }
  if (ui.mode === "new") return office({ here: "/people", title: t("office.person.enter"), cls: "one" }, o, act, form({ ...empty.person, name: ui.name }, null, o, ui, act));
  if (p === null) {
    return office({ here: "/people", title: t("office.person.title"), cls: "one" }, o, act, o.problem ? html`<p class="links"><a class="to first" href="/people">${t("office.person.back")}</a></p>` : loading(t("office.person.reading")));
  }
  const label = (/** @type {string} */ id) => labelOf(ui.facepieces, id);
  const title = html`<bdi>${called(p)}</bdi>`;
  if (ui.mode === "edit") return office({ here: "/people", title, cls: "one" }, o, act, form(p, p, o, ui, act));
  if (ui.mode === "erase") return office({ here: "/people", title, cls: "one" }, o, act, erase(p, o, ui, act));
  return office({ here: "/people", title, cls: "one", say: personSentence(p, ui.today, label) }, o, act, html`
    <p class="facts">${[p.name && p.number ? t("office.number_short", { number: p.number }) : "", p.job, p.languages.map((l) => lookUp(languages, l)).join(", "), ruleName(ui, p.rules), p.agent ? lookUp(agents, p.agent) : ""].filter(Boolean).map((x) => html`<span><bdi>${x}</bdi></span>`)}<a class="to" href=${`/bench?person=${encodeURIComponent(p.id)}`}>${t("office.person.bench")}</a></p>
    ${p.note ? html`<p class="remark">${p.note}</p>` : nothing}
    ${worn(p, ui, act, label)}
    ${p.left ? nothing : list(o, ui, act)}
    <div class="two">${p.left ? html`<div></div>` : changed(p, o, act)}${cleared(p, o, ui, act)}</div>
    ${tests(ui)}
    ${ends(p, o, ui, act)}`);
}

/** @param {Ui} ui @param {string} id */
function ruleName(ui, id) {
  return id === "" ? "" : ruleTold(ui.rules.find((r) => r.id === id)?.label ?? lookUp(ruleNames, id));
}

/** @param {Person} p @param {Ui} ui @param {Acts} act @param {(id: string) => string} label */
function worn(p, ui, act, label) {
  return html`<section aria-label=${t("office.person.worn")}><h2 class="quiet">${t("office.person.worn")}</h2>
    <ul class="folk">${p.facepieces.map((id) => {
      const d = p.due.find((x) => x.facepiece === id);
      const passed = p.tested.find((t) => t.facepiece === id);
      const s = d ? standing(d.on, ui.today) : { pip: p.left ? "off" : "given", word: p.left ? t("office.person.no_test") : t("office.person.no_date"), key: "good" };
      const fails = p.fails[id] ?? 0;
      return html`<li class=${`person is-${s.key}`}>${pipSvg(s.pip)}<span class="who"><b>${label(id)}</b><small>${passed ? rich(passed.trusted ? "office.person.passed" : "office.person.passed_unsure", { day: html`<a href=${`/records/${encodeURIComponent(passed.run)}`}>${dayIn(passed.on)}</a>` }) : t("office.dueWhys.never_tested")}${fails ? `, ${t("office.person.failed", { n: fails })}` : ""}</small></span>
        ${drawing(yearLine(ui.today, passed?.on ?? "", d?.on ?? ""), 300, 36, "", "year")}<span class="stand"><strong>${s.word}</strong><small>${d ? lookUp(dueWhys, d.why) : ""}</small></span></li>`;
    })}</ul>
    <p><button @click=${() => act.mode("edit")}>${t("office.person.change")}<small>${t("office.person.change_what")}</small></button></p></section>`;
}

/** @param {import("./office.js").Office} o @param {Ui} ui @param {Acts} act */
function list(o, ui, act) {
  return html`<section aria-label=${t("office.person.list")}><h2>${t("office.person.list")}</h2>
    <div class="ask-plan">${dateField({ name: "list-day", label: t("office.person.list_day"), value: ui.on, required: true, min: ui.today, change: (e) => act.onDay(typedIn(e)) })}
      ${ui.listed === null ? nothing : html`<button ?disabled=${o.working} @click=${() => act.list(ui.listed === true)}>${ui.listed ? t("office.listed.off") : t("office.listed.put")}</button>`}</div>
    <p role="status">${ui.listed === null ? t("office.person.reading_list") : t(ui.listed ? "office.person.listed" : "office.person.not_listed", { day: dayIn(ui.on) })}</p></section>`;
}

/** @param {Person} p @param {import("./office.js").Office} o @param {Acts} act */
function changed(p, o, act) {
  return html`<section aria-label=${t("office.person.changed")}><h2>${t("office.person.changed_question")}</h2>
    <p>${t("office.person.one_touch")}</p>
    <div class="trig">${triggers.map((t) => html`<button ?disabled=${o.working} @click=${() => act.trigger(t.key)}>${t.name}<small>${t.hint}</small></button>`)}</div>
    ${p.triggered ? html`<p class="small">${t("office.person.noted_last", { what: triggers.find((x) => x.key === p.triggered?.trigger)?.noted ?? p.triggered.trigger, day: dayIn(p.triggered.on) })}</p>` : nothing}</section>`;
}

/** @param {Person} p @param {import("./office.js").Office} o @param {Ui} ui @param {Acts} act */
function cleared(p, o, ui, act) {
  return html`<section aria-label=${t("office.person.clearance")}><h2>${t("office.person.cleared_question")}</h2>
    ${ui.mode === "clear"
      ? html`<form class="small-form" @submit=${(/** @type {Event} */ e) => {
          const f = filledIn(e);
          act.clear(textOf(f, "on"), textOf(f, "who"));
        }}>${field("on", t("office.person.cleared_on"), ui.today, { type: "date", required: true, max: ui.today })}${field("who", t("office.person.by_clinician"), "", { required: true })}
          <p class="small">${t("office.person.only_said")}</p>
          <div class="either"><button class="primary" ?disabled=${o.working}>${t("office.person.note_clearance")}</button><button type="button" @click=${() => act.mode("look")}>${t("office.person.leave")}</button></div></form>`
      : html`<p>${p.cleared ? rich("office.person.yes", { day: dayIn(p.cleared.on), who: p.cleared.who }, bold) : html`<span aria-hidden="true">⊘ </span>${t("office.person.no_clearance")}`}</p>
        <p><button @click=${() => act.mode("clear")}>${p.cleared ? t("office.person.note_newer") : t("office.person.note_one")}<small>${t("office.person.note_what")}</small></button></p>`}</section>`;
}

/** @param {Ui} ui */
function tests(ui) {
  return html`<section aria-label=${t("office.person.tests")}><h2>${t("office.person.tests")}</h2>${ui.runs.length === 0
    ? html`<p>${t("office.person.none_yet")}${ui.person && !ui.person.left ? html` <a href=${`/bench?person=${encodeURIComponent(ui.person.id)}`}>${t("office.person.bench")}</a>` : nothing}</p>`
    : html`<div class="scroll" tabindex="0" role="region" aria-label=${t("office.person.table")}><table><thead><tr><th scope="col">${t("office.person.when")}</th><th scope="col">${t("office.person.facepiece")}</th><th scope="col">${t("office.person.outcome")}</th><th scope="col">${t("office.person.why")}</th><th scope="col">${t("office.person.tester")}</th></tr></thead><tbody>${[...ui.runs].reverse().map(
        (r) => html`<tr><td><a href=${`/records/${encodeURIComponent(r.run)}`}>${when(r.at) || r.run}</a></td><td>${modelOf(r)}</td><td class=${`outcome ${r.outcome}`}><span aria-hidden="true">${marks[r.outcome] ?? ""}</span> ${lookUp(outcomes, r.outcome)}${r.practice ? html` <span class="stamp">${t("office.person.practice")}</span>` : nothing}</td><td>${r.recalled ? t("office.person.recalled", { why: lookUp(reasons, r.recalled) }) : r.reason ? lookUp(reasons, r.reason) : ""}</td><td>${r.tester}</td></tr>`,
      )}</tbody></table></div>`}</section>`;
}

/** @param {Person} p @param {import("./office.js").Office} o @param {Ui} ui @param {Acts} act */
function ends(p, o, ui, act) {
  return html`<section class="ends" aria-label=${t("office.person.kept")}><h2>${t("office.person.kept_about")}</h2>
    <div class="either"><a class="to" href=${`/api/v1/people/${encodeURIComponent(p.id)}/export`} download=${`${p.id}.json`}>${t("office.person.everything")}</a>
      ${p.left ? html`<button ?disabled=${o.working} @click=${act.back}>${t("office.person.back_again")}<small>${t("office.person.back_means")}</small></button>` : html`<button ?disabled=${o.working} @click=${() => act.left(ui.today)}>${t("office.person.has_left")}<small>${t("office.person.left_means")}</small></button>`}
      <button @click=${() => act.mode("erase")}>${t("office.person.erase_aria")}<small>${t("office.person.erase_shows")}</small></button></div></section>`;
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
  const language = (/** @type {number} */ i, /** @type {string} */ label) => html`<label class="field"><span>${label}</span><select name="language"><option value="" ?selected=${!f.languages[i]}>${t("office.person.none")}</option>${languageChoices(f.languages[i] ?? "").map(([code, name]) => html`<option value=${code} lang=${code} ?selected=${f.languages[i] === code}>${name}</option>`)}</select></label>`;
  return html`<form class="sheet-form" aria-label=${t("office.person.entry")} @submit=${send}>
    ${field("name", t("office.person.name"), f.name, { hint: t("office.person.name_hint") })}${field("number", t("office.person.number"), f.number)}${field("job", t("office.person.job"), f.job)}
    ${language(0, t("office.person.language"))}${language(1, t("office.person.language2"))}
    <fieldset class="field wide"><legend>${t("office.person.facepieces")}</legend>${kept.length === 0
      ? html`<p>${t("office.person.no_pieces")} <a href="/facepieces">${t("office.person.enter_pieces")}</a></p>`
      : html`<div class="either">${kept.map((x) => html`<label class="option"><input type="checkbox" name="facepiece" value=${x.id} ?checked=${f.facepieces.includes(x.id)}><span>${modelOf(x)}</span></label>`)}</div>`}</fieldset>
    ${either("rules", t("office.person.rules"), f.rules, [["", t("office.person.house")], ...ui.rules.map((r) => /** @type {[string, string]} */ ([r.id, ruleTold(r.label)]))])}
    ${either("agent", t("office.person.agent"), f.agent, [["", t("office.person.any")], ...Object.entries(agents)])}
    ${field("note", t("office.person.note"), f.note, { type: "area", hint: t("office.person.note_hint"), most: 400, wide: true })}
    <div class="either wide"><button class="primary" ?disabled=${o.working}>${was ? t("office.person.save") : t("office.person.enter_this")}</button>${was ? html`<button type="button" @click=${() => act.mode("look")}>${t("office.person.leave")}<small>${t("office.as_it_was")}</small></button>` : html`<a class="to" href="/people">${t("office.person.leave")}</a>`}</div>
  </form>`;
}

/** @param {Person} p @param {import("./office.js").Office} o @param {Ui} ui @param {Acts} act */
function erase(p, o, ui, act) {
  const asked = called(p);
  const right = ui.typed.trim().normalize("NFC") === asked.normalize("NFC");
  return html`<section class="erase" aria-label=${t("office.person.erase_aria")}>
    <p class="say">${rich("office.person.erase_ask", { name: html`<em><bdi>${asked}</bdi></em>` })}</p>
    <div class="two"><div><h2>${t("office.person.goes")}</h2><ul class="points">${erasure.goes.map((x) => html`<li>${x}</li>`)}</ul></div><div><h2>${t("office.person.stays")}</h2><ul class="points">${erasure.stays.map((x) => html`<li>${x}</li>`)}</ul></div></div>
    <p class="links"><a class="to" href=${`/api/v1/people/${encodeURIComponent(p.id)}/export`} download=${`${p.id}.json`}>${t("office.person.take_first")}</a></p>
    <form class="sheet-form" @submit=${(/** @type {Event} */ e) => {
      const f = filledIn(e);
      if (right) act.erase(textOf(f, "reason"));
    }}>
      ${field("reason", t("office.person.reason"), "", { hint: t("office.person.reason_hint"), required: true, most: 400 })}
      <label class="field"><span>${rich("office.person.type", { name: html`<b><bdi>${asked}</bdi></b>` })}</span><input name="typed" type="text" autocomplete="off" .value=${ui.typed} @input=${(/** @type {Event} */ e) => act.type(/** @type {HTMLInputElement} */ (e.target).value)}></label>
      <div class="either wide"><button class="primary" ?disabled=${!right || o.working}>${t("office.person.erase_for_good")}<small>${right ? t("office.person.key_destroyed") : t("office.person.once_typed")}</small></button><button type="button" @click=${() => act.mode("look")}>${t("office.person.leave")}<small>${t("office.person.nothing_changed")}</small></button></div>
    </form></section>`;
}

/** Names of a person's fields, for saying what was changed. */
export const fieldNames = sentences("office.person.fields");

/** @param {PersonForm} was @param {PersonForm} is */
export function changedFields(was, is) {
  return changes(/** @type {any} */ (was), /** @type {any} */ (is), fieldNames);
}
