// SPDX-License-Identifier: Apache-2.0

// What the figures of the site say: a sentence, a drawing and its table for
// each question. It computes no figure, and shows no name unless asked to.

import { html, nothing } from "./vendor/lit-html.js";
import { loading, office } from "./view-office.js";
import { figures, letters } from "./words-desk.js";

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

/** @type {[Period, string][]} */
const periods = [["quarter", "Three months"], ["year", "Twelve months"], ["all", "Everything"], ["own", "From day to day"]];
/** Charts that show testers by their letters. */
const lettered = new Set(["testers", "invalid", "remarks", "agreement"]);
/** A table longer than this is folded away at first. */
const longTable = 8;

/** @param {import("./view-office.js").Office} o @param {Ui} ui @param {Acts} act */
export function insight(o, ui, act) {
  const f = ui.figures;
  return office({ here: "/insight", title: "Insight", cls: "insight", say: f ? summary(f) : "" }, o, act, html`
    ${choice(ui, act)}
    ${f === null
      ? o.problem ? nothing : loading("Counting the tests.")
      : f.counts.tests === 0
        ? html`<p>Figures come with tests. Practice is not counted, and a test on a day that the clock did not know stands in Everything alone.</p>`
        : html`<p class="note">${figures.split("*").map((part, i) => (i % 2 ? html`<b>${part}</b>` : part))}</p>
          ${left(f)}
          <nav class="questions-of" aria-label="Figures on this page">${f.charts.map((c) => html`<a href=${`#${c.id}`}>${c.title}</a>`)}</nav>
          ${f.charts.map((c) => chart(c, ui))}
          ${names(ui, act)}`}`);
}

/** @param {Figures} f */
function summary({ counts: c }) {
  if (c.tests === 0) return "No test in this time.";
  const parts = [[c.pass, "pass"], [c.fail, "fail"], [c.not_valid, "not valid"], [c.cannot_taste, "cannot taste"]].filter(([n]) => n !== 0);
  return `*${c.tests} ${c.tests === 1 ? "test" : "tests"}:* ${parts.map(([n, w]) => `${n} ${w}`).join(", ")}.`;
}

/** @param {Figures} f */
function left(f) {
  const parts = [
    f.undated ? `${f.undated} of them on a day that is not known for sure: they are in no week or month.` : "",
    f.leftOut ? `${f.leftOut} more could not be counted, since their facts contradict each other.` : "",
  ].filter(Boolean);
  return parts.length ? html`<p class="note">${parts.join(" ")}</p>` : nothing;
}

/** @param {Ui} ui @param {Acts} act */
function choice(ui, act) {
  const value = (/** @type {Event} */ e) => /** @type {HTMLInputElement} */ (e.target).value;
  return html`<section class="asking" aria-label="Which time">
    <fieldset class="field"><legend>Time</legend><div class="either slim">${periods.map(
      ([key, word]) => html`<label class="option"><input type="radio" name="period" value=${key} .checked=${ui.period === key} @change=${() => act.period(key)}><span>${word}</span></label>`,
    )}</div></fieldset>
    ${ui.period === "own"
      ? html`<label class="field"><span>From day</span><input type="date" .value=${ui.from} max=${ui.to || nothing} @change=${(/** @type {Event} */ e) => act.days(value(e), ui.to)}></label>
        <label class="field"><span>To day</span><input type="date" .value=${ui.to} min=${ui.from || nothing} @change=${(/** @type {Event} */ e) => act.days(ui.from, value(e))}></label>`
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
    <div class="drawn">${drawing?.node ? html`<div class="scroll" tabindex="0" role="group" aria-label=${`Drawing: ${c.title}`}>${drawing.node}</div>` : drawing?.why ? html`<p class="why">This drawing is not shown, since ${drawing.why}. The table holds the same figures.</p>` : nothing}
      ${c.rows.length === 0 ? nothing : html`<details ?open=${c.rows.length <= longTable && (ui.narrow || !drawing?.node)}><summary>${drawing?.node ? "The same as a table" : "Table"}, ${c.rows.length} ${c.rows.length === 1 ? "row" : "rows"}</summary>${table(c)}</details>`}</div>
  </section>`;
}

/** @param {Chart} c */
function table(c) {
  const right = c.columns.map((_, i) => c.rows.some((r) => r[i]?.number));
  return html`<div class="scroll" tabindex="0" role="group" aria-label=${`Table: ${c.title}`}><table class="numbers"><thead><tr>${c.columns.map((k, i) => html`<th scope="col" class=${right[i] ? "right" : ""}>${k.name}${k.unit ? html` <small>${k.unit}</small>` : nothing}</th>`)}</tr></thead>
    <tbody>${c.rows.map((r) => html`<tr>${r.map((cell, i) => (i === 0 ? html`<th scope="row">${cell.text}</th>` : html`<td class=${right[i] ? "right" : ""}>${cell.text}</td>`))}</tr>`)}</tbody></table></div>`;
}

/** @param {Ui} ui @param {Acts} act */
function names(ui, act) {
  if (ui.names === "hidden") {
    return html`<section class="who-is" aria-labelledby="h-letters"><h2 id="h-letters">Testers stand here as letters</h2><p class="small">In the order of their first test in this time, so that a figure is read before a name.</p><div class="row"><button @click=${() => act.names("warned")}>Which letter is whom<small>read a caution first</small></button></div></section>`;
  }
  return html`<section class="who-is" aria-labelledby="h-letters"><h2 id="h-letters">${ui.names === "warned" ? "Before names stand here" : "Who is behind the letters"}</h2>
    ${letters.map((t) => html`<p class="notice">${t}</p>`)}
    ${ui.names === "shown"
      ? ui.letters.length ? html`<dl class="letters">${ui.letters.map((l) => html`<div><dt>${l.letter}</dt><dd>${l.name}</dd></div>`)}</dl>` : html`<p>There is no tester in this time.</p>`
      : nothing}
    <div class="row">${ui.names === "warned" ? html`<button @click=${() => act.names("shown")}>Show the names<small>until this page is left</small></button>` : nothing}<button @click=${() => act.names("hidden")}>${ui.names === "warned" ? "Leave them letters" : "Hide the names"}</button></div>
  </section>`;
}
