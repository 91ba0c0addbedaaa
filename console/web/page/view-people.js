// SPDX-License-Identifier: Apache-2.0

// The list of people: a search that answers while one types, and who is due
// next while nobody is searched. Pure.

import { html, nothing } from "./vendor/lit-html.js";
import { t } from "./lang.js";
import { called, firstDue, labelOf, personStanding, standing, yearLine } from "./state-office.js";
import { drawing, office, pipSvg, typedIn } from "./view-office.js";
import { dueWhys } from "./words-office.js";
import { lookUp } from "./words.js";

/** @typedef {import("./api.js").Person} Person */
/** @typedef {import("./api.js").Due} Due */
/**
 * @typedef {object} Ui
 * @property {string} query
 * @property {Person[]|null} people   null: not asked for
 * @property {boolean} more           there are more than are shown
 * @property {boolean} searching      an answer is under way
 * @property {Due[]|null} due         null: not read yet
 * @property {Person[]} bare          people without a facepiece
 * @property {boolean} bareMore       there are more of those
 * @property {boolean|null} nobody    nobody is entered at all; null: not known yet
 * @property {import("./api.js").Facepiece[]} facepieces
 * @property {string} today
 */
/** @typedef {{search: (query: string) => void, more: () => void} & import("./view-office.js").OfficeActs} Acts */

/** @param {import("./office.js").Office} o @param {Ui} ui @param {Acts} act */
export function people(o, ui, act) {
  const asked = ui.query.trim() !== "";
  return office({ here: "/people", title: t("office.people.title"), cls: "people" }, o, act, html`
    <div class="finder">
      <label class="find"><span>${t("office.people.find")}</span><input id="find" type="search" autocomplete="off" spellcheck="false" .value=${ui.query} @input=${(/** @type {Event} */ e) => act.search(typedIn(e))}></label>
      <p class="links"><a class="to" href="/people/new">${t("office.people.enter")}</a><a class="to" href="/people/import">${t("office.people.bring")}</a></p>
    </div>
    ${asked ? found(o, ui, act) : ui.nobody ? nobody() : html`${due(o, ui)}${bare(ui)}`}
    <p class="links foot-links"><span>${t("office.people.take")}</span><a class="to" href="/api/v1/people.csv">CSV</a><a class="to" href="/api/v1/people.xlsx">XLSX</a><a class="to" href="/api/v1/due.ics">${t("office.people.calendar")}</a></p>`);
}

/** @param {import("./office.js").Office} o @param {Ui} ui @param {Acts} act */
function found(o, ui, act) {
  const n = ui.people?.length ?? 0;
  const word = ui.people === null ? (o.problem ? "" : t("office.people.looking")) : n === 0 ? t("office.people.none_found", { query: ui.query.trim() }) : t(ui.more ? "office.people.count_more" : "office.people.count", { n });
  return html`<section aria-label=${t("office.people.found")} class=${ui.searching ? "older" : ""}>
    <p class="counted" role="status">${word}</p>
    ${ui.people !== null && n === 0 ? html`<p>${t("office.people.how_found")} <a href=${`/people/new?name=${encodeURIComponent(ui.query.trim())}`}>${t("office.people.enter_this", { name: ui.query.trim() })}</a></p>` : nothing}
    <ul class="folk">${(ui.people ?? []).map((p) => row(p, ui))}</ul>
    ${ui.more ? html`<p><button @click=${act.more} ?disabled=${ui.searching}>${t("office.people.show_more")}</button></p>` : nothing}
  </section>`;
}

/** @param {Person} p @param {Ui} ui */
function row(p, ui) {
  const s = personStanding(p, ui.today);
  const d = firstDue(p);
  const passed = p.tested.find((t) => t.facepiece === (d?.facepiece ?? p.facepieces[0]))?.on ?? "";
  return html`<li><a class=${`person is-${s.key}`} href=${`/people/${encodeURIComponent(p.id)}`}>${pipSvg(s.pip)}
    <span class="who"><b><bdi>${called(p)}</bdi></b><small>${[p.name ? p.number : "", p.job].filter(Boolean).join(", ")}</small></span>
    ${p.left ? html`<span></span>` : drawing(yearLine(ui.today, passed, d?.on ?? ""), 300, 36, "", "year")}
    <span class="stand"><strong>${s.word}</strong><small>${d ? labelOf(ui.facepieces, d.facepiece) : ""}${p.cleared || p.left ? "" : `${d ? "; " : ""}${t("office.people.no_clearance")}`}</small></span></a></li>`;
}

/** @param {import("./office.js").Office} o @param {Ui} ui */
function due(o, ui) {
  if (ui.due === null) return o.problem ? nothing : html`<p class="counted">${t("office.people.reading_due")}</p>`;
  if (ui.due.length === 0) return html`<p class="say">${t("office.people.nobody_due")}</p>`;
  return html`<section aria-label=${t("office.people.due_next")}><h2>${t("office.people.due_next")}</h2>
    <ul class="folk">${ui.due.map((d) => {
      const s = standing(d.on, ui.today);
      return html`<li><a class=${`person is-${s.key}`} href=${`/people/${encodeURIComponent(d.person)}`}>${pipSvg(s.pip)}
        <span class="who"><b><bdi>${d.name || d.person}</bdi></b><small>${d.label || labelOf(ui.facepieces, d.facepiece)}</small></span>
        ${drawing(yearLine(ui.today, "", d.on), 300, 36, "", "year")}
        <span class="stand"><strong>${s.word}</strong><small>${lookUp(dueWhys, d.why)}</small></span></a></li>`;
    })}</ul></section>`;
}

/** @param {Ui} ui */
function bare(ui) {
  if (ui.bare.length === 0) return nothing;
  return html`<section aria-label=${t("office.people.without")}><h2>${t("office.people.without")}</h2><p>${t("office.people.without_why")}</p>
    <ul class="folk">${ui.bare.map((p) => row(p, ui))}</ul>${ui.bareMore ? html`<p>${t("office.people.without_more")}</p>` : nothing}</section>`;
}

function nobody() {
  return html`<section class="empty"><p class="say">${t("office.people.nobody")}</p>
    <p>${t("office.people.begin")}</p>
    <p class="links"><a class="to first" href="/people/new">${t("office.people.enter_first")}</a><a class="to" href="/people/import">${t("office.people.bring")}</a></p></section>`;
}
