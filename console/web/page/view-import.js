// SPDX-License-Identifier: Apache-2.0

// A list of people from a file: what the box reads in it, which column is what,
// what would come of it, and only then the doing. Pure.

import { html, nothing } from "./vendor/lit-html.js";
import { t } from "./lang.js";
import { mappingLacks, rowNumber, rowRefused } from "./state-office.js";
import { sentence } from "./view-common.js";
import { office } from "./view-office.js";
import { bold, rich } from "./view-words.js";
import { columns, delimiters, encodings } from "./words-office.js";

/**
 * @typedef {object} Ui
 * @property {string} file                  its name; empty: none yet
 * @property {import("./api.js").Preview|null} preview
 * @property {Record<string, number>} mapping  column, from 0, by field
 * @property {import("./api.js").Imported|null} trial   what would come of it
 * @property {import("./api.js").Imported|null} done
 */
/**
 * @typedef {object} Own
 * @property {(file: File) => void} choose
 * @property {(how: Record<string, string>) => void} reread   encoding, delimiter or sheet
 * @property {(field: string, column: number) => void} map   an empty field: the column is left out
 * @property {() => void} tryIt
 * @property {() => void} doIt
 * @property {() => void} again
 */
/** @typedef {Own & import("./view-office.js").OfficeActs} Acts */

/** @param {import("./office.js").Office} o @param {Ui} ui @param {Acts} act */
export function importing(o, ui, act) {
  return office({ here: "/people", title: t("office.import.title"), cls: "bring", say: say(ui) }, o, act, html`
    ${ui.done ? finished(ui.done, act) : ui.preview === null ? choose(ui, o, act) : read(ui.preview, ui, o, act)}`);
}

/** @param {Ui} ui */
function say(ui) {
  if (ui.done) return t("office.import.taken", { n: ui.done.new, changed: ui.done.changed, same: ui.done.same });
  if (ui.preview === null) return t("office.import.choose");
  const lacks = mappingLacks(ui.mapping);
  if (lacks) return lacks;
  if (ui.trial === null) return t("office.import.look");
  return t(ui.trial.refused.length ? "office.import.would_refusing" : "office.import.would", { fresh: ui.trial.new, changed: ui.trial.changed, same: ui.trial.same, n: ui.trial.refused.length });
}

/** @param {Ui} ui @param {import("./office.js").Office} o @param {Acts} act */
function choose(ui, o, act) {
  return html`<form class="choose" @submit=${(/** @type {Event} */ e) => e.preventDefault()}>
    <label class="field drop"><span>${t("office.import.file")}${ui.file ? html` <small>${ui.file}</small>` : nothing}</span><input type="file" accept=".csv,.txt,.tsv,.xlsx" ?disabled=${o.working} @change=${(/** @type {Event} */ e) => {
      const f = /** @type {HTMLInputElement} */ (e.target).files?.[0];
      if (f) act.choose(f);
    }}></label>
    <ol class="points"><li>${t("office.import.step1")}</li><li>${t("office.import.step2")}</li><li>${t("office.import.step3")}</li><li>${t("office.import.step4")}</li></ol>
    <p class="links"><a class="to" href="/people">${t("office.import.leave")}</a></p></form>`;
}

/** @param {import("./api.js").Preview} p @param {Ui} ui @param {import("./office.js").Office} o @param {Acts} act */
function read(p, ui, o, act) {
  const field = (/** @type {number} */ i) => columns().find(([f]) => ui.mapping[f] === i)?.[0] ?? "";
  const pick = (/** @type {string} */ label, /** @type {string} */ key, /** @type {string} */ value, /** @type {[string, string][]} */ options) => html`<label class="field"><span>${label}</span><select ?disabled=${o.working} @change=${(/** @type {Event} */ e) => act.reread({ [key]: /** @type {HTMLSelectElement} */ (e.target).value })}>${(options.some(([v]) => v === value) ? options : [/** @type {[string, string]} */ ([value, value || t("office.import.none")]), ...options]).map(([v, word]) => html`<option value=${v} ?selected=${v === value}>${word}</option>`)}</select></label>`;
  const lacks = mappingLacks(ui.mapping) !== "";
  return html`
    <div class="how">${p.sheets.length > 1 ? pick(t("office.import.sheet"), "sheet", p.sheet, p.sheets.map((s) => [s, s])) : nothing}
      ${p.sheets.length === 0 ? html`${pick(t("office.import.encoding"), "encoding", p.encoding, encodings.map((e) => [e, e]))}${pick(t("office.import.parted"), "delimiter", p.delimiter, delimiters())}` : nothing}
      <p class="small">${t("office.import.letters")}</p></div>
    <div class="scroll" tabindex="0" role="region" aria-label=${t("office.import.first_rows")}><table class="rows"><thead>
      <tr><th scope="col" class="number">${t("office.import.number")}</th>${p.columns.map((c, i) => html`<th scope="col"><label><span>${c || t("office.import.column", { n: i + 1 })}</span><select aria-label=${t("office.import.column_is", { name: c || String(i + 1) })} @change=${(/** @type {Event} */ e) => act.map(/** @type {HTMLSelectElement} */ (e.target).value, i)}><option value="" ?selected=${field(i) === ""}>${t("office.import.left_out")}</option>${columns().map(([f, name]) => html`<option value=${f} ?selected=${field(i) === f}>${name}</option>`)}</select></label></th>`)}</tr></thead>
      <tbody>${p.rows.map((r, k) => html`<tr><th scope="row" class="number">${rowNumber(k)}</th>${p.columns.map((_, i) => html`<td class=${field(i) ? "" : "out"}><bdi>${r[i] ?? ""}</bdi></td>`)}</tr>`)}</tbody></table></div>
    <p class="small">${p.count > p.rows.length ? t("office.import.rows_first", { file: ui.file, n: p.count, shown: p.rows.length }) : t("office.import.rows", { file: ui.file, n: p.count })}</p>
    ${ui.trial ? outcome(ui.trial, t("office.import.would_refuse")) : nothing}
    <div class="either sticky">${ui.trial === null
      ? html`<button class="primary" ?disabled=${lacks || o.working} @click=${act.tryIt}>${t("office.import.try")}<small>${t("office.import.no_take")}</small></button>`
      : html`<button class="primary" ?disabled=${lacks || o.working || ui.trial.new + ui.trial.changed === 0} @click=${act.doIt}>${t("office.import.take", { n: ui.trial.new + ui.trial.changed })}<small>${ui.trial.refused.length ? t("office.import.without") : t("office.import.all_rows")}</small></button>`}
      <button ?disabled=${o.working} @click=${act.again}>${t("office.import.another")}</button><a class="to" href="/people">${t("office.import.leave")}</a></div>`;
}

/** @param {import("./api.js").Imported} r @param {string} title */
function outcome(r, title) {
  return html`<section aria-label=${t("office.import.come_of")}><dl class="sums"><div><dt>${t("office.import.new")}</dt><dd>${r.new}</dd></div><div><dt>${t("office.import.changed")}</dt><dd>${r.changed}</dd></div><div><dt>${t("office.import.same")}</dt><dd>${r.same}</dd></div><div><dt>${t("office.import.refused")}</dt><dd>${r.refused.length}</dd></div></dl>
    ${r.refused.length === 0 ? nothing : html`<h2>${title}</h2><ul class="points refusals">${r.refused.slice(0, 50).map((x) => html`<li>${rich("office.import.row", { n: x.row, why: rowRefused(x.why) }, bold)}</li>`)}</ul>${r.refused.length > 50 ? html`<p>${t("office.import.more", { n: r.refused.length - 50 })}</p>` : nothing}`}</section>`;
}

/** @param {import("./api.js").Imported} r @param {Acts} act */
function finished(r, act) {
  return html`${r.refused.length ? html`<section><h2>${t("office.import.not_taken")}</h2><ul class="points refusals">${r.refused.slice(0, 50).map((x) => html`<li>${rich("office.import.row", { n: x.row, why: sentence(rowRefused(x.why)) }, bold)}</li>`)}</ul></section>` : nothing}
    <div class="either"><a class="to first" href="/people">${t("office.import.see_all")}</a><button @click=${act.again}>${t("office.import.bring_another")}</button></div>`;
}
