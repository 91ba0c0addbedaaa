// SPDX-License-Identifier: Apache-2.0

// A list of people from a file: what the box reads in it, which column is what,
// what would come of it, and only then the doing. Pure.

import { html, nothing } from "./vendor/lit-html.js";
import { count, mappingLacks } from "./state-office.js";
import { sentence } from "./view-common.js";
import { office } from "./view-office.js";
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
  return office({ here: "/people", title: "Bring a list of people", cls: "bring", say: say(ui) }, o, act, html`
    ${ui.done ? finished(ui.done, act) : ui.preview === null ? choose(ui, o, act) : read(ui.preview, ui, o, act)}`);
}

/** @param {Ui} ui */
function say(ui) {
  if (ui.done) return `Taken in: *${count(ui.done.new, "new person").replace("persons", "people")}*, ${ui.done.changed} changed, ${ui.done.same} as they were.`;
  if (ui.preview === null) return "Choose a table: CSV of any kind, or XLSX. *Nothing is taken in yet.*";
  const lacks = mappingLacks(ui.mapping);
  if (lacks) return lacks;
  if (ui.trial === null) return "Look whether the columns are right, then *try it*. Trying changes nothing.";
  return `It would bring *${ui.trial.new} new*, change ${ui.trial.changed}, leave ${ui.trial.same} as they are${ui.trial.refused.length ? ` and refuse *${count(ui.trial.refused.length, "row")}*` : ""}.`;
}

/** @param {Ui} ui @param {import("./office.js").Office} o @param {Acts} act */
function choose(ui, o, act) {
  return html`<form class="choose" @submit=${(/** @type {Event} */ e) => e.preventDefault()}>
    <label class="field drop"><span>File${ui.file ? html` <small>${ui.file}</small>` : nothing}</span><input type="file" accept=".csv,.txt,.tsv,.xlsx" ?disabled=${o.working} @change=${(/** @type {Event} */ e) => {
      const f = /** @type {HTMLInputElement} */ (e.target).files?.[0];
      if (f) act.choose(f);
    }}></label>
    <ol class="points"><li>The box reads the file and shows its first rows. The file is not kept.</li><li>You say which column is what. Columns that nobody names are left out; leave out whatever is medical.</li><li>A trial says what would come of it, row by row where something is wrong.</li><li>Then you say: do it.</li></ol>
    <p class="links"><a class="to" href="/people">Leave it</a></p></form>`;
}

/** @param {import("./api.js").Preview} p @param {Ui} ui @param {import("./office.js").Office} o @param {Acts} act */
function read(p, ui, o, act) {
  const field = (/** @type {number} */ i) => columns.find(([f]) => ui.mapping[f] === i)?.[0] ?? "";
  const pick = (/** @type {string} */ label, /** @type {string} */ key, /** @type {string} */ value, /** @type {[string, string][]} */ options) => html`<label class="field"><span>${label}</span><select ?disabled=${o.working} @change=${(/** @type {Event} */ e) => act.reread({ [key]: /** @type {HTMLSelectElement} */ (e.target).value })}>${(options.some(([v]) => v === value) ? options : [/** @type {[string, string]} */ ([value, value || "none"]), ...options]).map(([v, word]) => html`<option value=${v} ?selected=${v === value}>${word}</option>`)}</select></label>`;
  const lacks = mappingLacks(ui.mapping) !== "";
  return html`
    <div class="how">${p.sheets.length > 1 ? pick("Sheet", "sheet", p.sheet, p.sheets.map((s) => [s, s])) : nothing}
      ${p.sheets.length === 0 ? html`${pick("Encoding", "encoding", p.encoding, encodings.map((e) => [e, e]))}${pick("Parted by", "delimiter", p.delimiter, delimiters)}` : nothing}
      <p class="small">Letters look wrong? Choose another encoding. All in one column? Choose what parts them.</p></div>
    <div class="scroll" tabindex="0" role="region" aria-label="First rows of the file"><table class="rows"><thead>
      <tr>${p.columns.map((c, i) => html`<th scope="col"><label><span>${c || `column ${i + 1}`}</span><select aria-label=${`Column ${c || i + 1} is`} @change=${(/** @type {Event} */ e) => act.map(/** @type {HTMLSelectElement} */ (e.target).value, i)}><option value="" ?selected=${field(i) === ""}>left out</option>${columns.map(([f, name]) => html`<option value=${f} ?selected=${field(i) === f}>${name}</option>`)}</select></label></th>`)}</tr></thead>
      <tbody>${p.rows.map((r) => html`<tr>${p.columns.map((_, i) => html`<td class=${field(i) ? "" : "out"}><bdi>${r[i] ?? ""}</bdi></td>`)}</tr>`)}</tbody></table></div>
    <p class="small">${ui.file}: ${count(p.count, "row")}${p.count > p.rows.length ? `, of which the first ${p.rows.length} stand here` : ""}.</p>
    ${ui.trial ? outcome(ui.trial, "These rows would be refused") : nothing}
    <div class="either sticky">${ui.trial === null
      ? html`<button class="primary" ?disabled=${lacks || o.working} @click=${act.tryIt}>Try it<small>nothing is taken in</small></button>`
      : html`<button class="primary" ?disabled=${lacks || o.working || ui.trial.new + ui.trial.changed === 0} @click=${act.doIt}>Take in ${ui.trial.new + ui.trial.changed}<small>${ui.trial.refused.length ? "without the refused rows" : "all rows"}</small></button>`}
      <button ?disabled=${o.working} @click=${act.again}>Another file</button><a class="to" href="/people">Leave it</a></div>`;
}

/** @param {import("./api.js").Imported} r @param {string} title */
function outcome(r, title) {
  return html`<section aria-label="What would come of it"><dl class="sums"><div><dt>new</dt><dd>${r.new}</dd></div><div><dt>changed</dt><dd>${r.changed}</dd></div><div><dt>as they are</dt><dd>${r.same}</dd></div><div><dt>refused</dt><dd>${r.refused.length}</dd></div></dl>
    ${r.refused.length === 0 ? nothing : html`<h2>${title}</h2><ul class="points refusals">${r.refused.slice(0, 50).map((x) => html`<li><b>Row ${x.row}:</b> ${x.why}</li>`)}</ul>${r.refused.length > 50 ? html`<p>And ${r.refused.length - 50} more. Put right what they have in common, and choose the file again.</p>` : nothing}`}</section>`;
}

/** @param {import("./api.js").Imported} r @param {Acts} act */
function finished(r, act) {
  return html`${r.refused.length ? html`<section><h2>Not taken in</h2><ul class="points refusals">${r.refused.slice(0, 50).map((x) => html`<li><b>Row ${x.row}:</b> ${sentence(x.why)}</li>`)}</ul></section>` : nothing}
    <div class="either"><a class="to first" href="/people">See all people</a><button @click=${act.again}>Bring another list</button></div>`;
}
