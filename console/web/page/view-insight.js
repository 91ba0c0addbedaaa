// SPDX-License-Identifier: Apache-2.0

// What the figures of the site say: a sentence, a drawing and its table for
// each question. It computes no figure, and shows no name unless asked to.

import { html, nothing } from "./vendor/lit-html.js";
import { t } from "./lang.js";
import { dateField } from "./view-date.js";
import { loading, office } from "./view-office.js";
import { bold, rich } from "./view-words.js";
import { letters, tally } from "./words-desk.js";

/** @typedef {import("./desk.js").Figures} Figures */
/** @typedef {import("./desk.js").Chart} Chart */
/** @typedef {"quarter"|"year"|"all"|"own"} Period */

/**
 * @typedef {object} Ui
 * @property {boolean} narrow  the screen: a drawing is wider than it
 * @property {Figures|null} figures
 * @property {Map<string, {node: Element|null, why: string}>} drawings  by id of the chart
 * @property {Period} period
 * @property {string} from  a day or empty
 * @property {string} to
 * @property {"hidden"|"warned"|"shown"} names
 * @property {import("./desk.js").Letter[]} letters
 */
/** @typedef {import("./view-office.js").OfficeActs & {period: (p: Period) => void, days: (from: string, to: string) => void, names: (n: Ui["names"]) => void}} Acts */

/** @returns {[Period, string][]} */
const periods = () => [["quarter", t("desk.insight.quarter")], ["year", t("desk.insight.year")], ["all", t("desk.insight.all")], ["own", t("desk.insight.own")]];
/** Charts that show testers by their letters. */
const lettered = new Set(["testers", "invalid", "remarks", "agreement"]);
/** A table longer than this is folded away at first. */
const longTable = 8;

/** @param {import("./view-office.js").Office} o @param {Ui} ui @param {Acts} act */
export function insight(o, ui, act) {
  const f = ui.figures;
  return office({ here: "/insight", title: t("desk.insight.title"), cls: "insight", say: f ? summary(f) : "" }, o, act, html`
    ${choice(ui, act)}
    ${f === null
      ? o.problem ? nothing : loading(t("desk.insight.counting_tests"))
      : f.counts.tests === 0
        ? html`<p>${t("desk.insight.figures_come")}</p>`
        : html`<p class="note">${rich("desk.figures", {}, bold)}</p>
          ${left(f)}
          <nav class="questions-of" aria-label=${t("desk.insight.on_page")}>${f.charts.map((c) => html`<a href=${`#${c.id}`}>${c.title}</a>`)}</nav>
          ${f.charts.map((c) => chart(c, ui))}
          ${names(ui, act)}`}`);
}

/** @param {Figures} f */
function summary({ counts: c }) {
  if (c.tests === 0) return t("desk.insight.no_test");
  return t("desk.insight.sum", { n: c.tests, parts: tally({ pass: c.pass, fail: c.fail, not_valid: c.not_valid, cannot_taste: c.cannot_taste }) });
}

/** @param {Figures} f */
function left(f) {
  const parts = [
    f.undated ? t("desk.insight.undated", { n: f.undated }) : "",
    f.leftOut ? t("desk.insight.left_out", { n: f.leftOut }) : "",
  ].filter(Boolean);
  return parts.length ? html`<p class="note">${parts.join(" ")}</p>` : nothing;
}

/** @param {Ui} ui @param {Acts} act */
function choice(ui, act) {
  const value = (/** @type {Event} */ e) => /** @type {HTMLInputElement} */ (e.target).value;
  return html`<section class="asking" aria-label=${t("desk.insight.which_time")}>
    <fieldset class="field"><legend>${t("desk.insight.time")}</legend><div class="either slim">${periods().map(
      ([key, word]) => html`<label class="option"><input type="radio" name="period" value=${key} .checked=${ui.period === key} @change=${() => act.period(key)}><span>${word}</span></label>`,
    )}</div></fieldset>
    ${ui.period === "own"
      ? html`${dateField({ label: t("desk.records.from"), value: ui.from, max: ui.to, change: (e) => act.days(value(e), ui.to) })}
        ${dateField({ label: t("desk.records.to"), value: ui.to, min: ui.from, change: (e) => act.days(ui.from, value(e)) })}`
      : nothing}
  </section>`;
}

/** @param {Chart} c @param {Ui} ui */
function chart(c, ui) {
  const drawing = ui.drawings.get(c.id);
  const known = ui.names === "shown" && lettered.has(c.id) ? ui.letters : [];
  return html`<section class="figure" aria-labelledby=${`h-${c.id}`} id=${c.id}>
    <div class="reads"><h2 id=${`h-${c.id}`}>${c.title}</h2><p class="says">${c.say}</p>${c.notes.map((n) => html`<p class="small">${n}</p>`)}
      ${known.length ? html`<p class="small letters-here">${known.map((l) => html`<span><b>${l.letter}</b> ${l.name}</span> `)}</p>` : nothing}</div>
    <div class="drawn">${drawing?.node ? html`<div class="scroll" tabindex="0" role="group" aria-label=${t("desk.insight.drawing", { title: c.title })}>${drawing.node}</div>` : drawing?.why ? html`<p class="why">${t("desk.insight.not_shown", { why: drawing.why })}</p>` : nothing}
      ${c.rows.length === 0 ? nothing : html`<details ?open=${c.rows.length <= longTable && (ui.narrow || !drawing?.node)}><summary>${t(drawing?.node ? "desk.insight.same_table" : "desk.insight.table_rows", { n: c.rows.length })}</summary>${table(c)}</details>`}</div>
  </section>`;
}

/** @param {Chart} c */
function table(c) {
  const right = c.columns.map((_, i) => c.rows.some((r) => r[i]?.number));
  return html`<div class="scroll" tabindex="0" role="group" aria-label=${t("desk.insight.table", { title: c.title })}><table class="numbers"><thead><tr>${c.columns.map((k, i) => html`<th scope="col" class=${right[i] ? "right" : ""}>${k.name}${k.unit ? html` <small>${k.unit}</small>` : nothing}</th>`)}</tr></thead>
    <tbody>${c.rows.map((r) => html`<tr>${r.map((cell, i) => (i === 0 ? html`<th scope="row">${cell.text}</th>` : html`<td class=${right[i] ? "right" : ""}>${cell.text}</td>`))}</tr>`)}</tbody></table></div>`;
}

/** @param {Ui} ui @param {Acts} act */
function names(ui, act) {
  if (ui.names === "hidden") {
    return html`<section class="who-is" aria-labelledby="h-letters"><h2 id="h-letters">${t("desk.insight.letters_title")}</h2><p class="small">${t("desk.insight.letters_order")}</p><div class="row"><button @click=${() => act.names("warned")}>${t("desk.insight.which_letter")}<small>${t("desk.insight.caution_first")}</small></button></div></section>`;
  }
  return html`<section class="who-is" aria-labelledby="h-letters"><h2 id="h-letters">${ui.names === "warned" ? t("desk.insight.before_names") : t("desk.insight.who_behind")}</h2>
    ${letters().map((x) => html`<p class="notice">${x}</p>`)}
    ${ui.names === "shown"
      ? ui.letters.length ? html`<dl class="letters">${ui.letters.map((l) => html`<div><dt>${l.letter}</dt><dd>${l.name}</dd></div>`)}</dl>` : html`<p>${t("desk.insight.no_tester")}</p>`
      : nothing}
    <div class="row">${ui.names === "warned" ? html`<button @click=${() => act.names("shown")}>${t("desk.insight.show_names")}<small>${t("desk.insight.until_left")}</small></button>` : nothing}<button @click=${() => act.names("hidden")}>${ui.names === "warned" ? t("desk.insight.leave_letters") : t("desk.insight.hide_names")}</button></div>
  </section>`;
}
