// SPDX-License-Identifier: Apache-2.0

// The list of records and one record, for screen and paper. They show what a
// record holds and what was added to it later, and add nothing of their own.

import { html, nothing, svg } from "./vendor/lit-html.js";
import { stripSvg } from "./draw.js";
import { dayIn, figure, retold, sentences, t } from "./lang.js";
import { drawn, pathOf, ratio } from "./sign.js";
import { byDay, cardRefused, exercisesOf, labelNow, ofRecord, outcomeFirst, outcomeNow, recallOf, signatureOf, signRefused, unnamed, when, whoOf } from "./state-record.js";
import { marks } from "./state.js";
import { practice } from "./view-common.js";
import { dateField } from "./view-date.js";
import { filledIn, loading, office, textOf } from "./view-office.js";
import { rich } from "./view-words.js";
import { agents, exercise, fault, lookUp, onRun, outcomes, partName, partWhy, pieceName, prevails, proofs, questions, reasons, remarks, roles, ruleName, stages } from "./words.js";
import { evidence, labels, noCard, pieces, qualities, recallWhy, signers, signing, tally } from "./words-desk.js";

/** @typedef {import("./state-record.js").Row} Row */
/** @typedef {import("./state-record.js").Full} Full */
/** @typedef {import("./state-record.js").Wanted} Wanted */
/** @typedef {import("./view-office.js").Office} Office */
/** @typedef {import("./view-office.js").OfficeActs} OfficeActs */

/**
 * @typedef {object} ListUi
 * @property {Row[]|null} rows       those that were read and are asked for; null: none read yet
 * @property {number} looked         how many were read
 * @property {string} oldest         day of the oldest that was read
 * @property {boolean} more          there are older ones
 * @property {boolean} reading
 * @property {boolean} whole         the box answers for searches and files
 * @property {Wanted} wanted
 * @property {string} from           first day; empty: all
 * @property {string} to             last day; empty: all
 * @property {string} query
 * @property {{id: string, called: string, more: string}[]|null} matches  people who may be meant
 * @property {{id: string, called: string}|null} person
 * @property {boolean} goesOn        the part that came held too few: the next is being read
 * @property {{id: string, label: string}[]} facepieces
 * @property {string} facepiece      its id; empty: all
 * @property {string} tester         empty: all
 */
/** @typedef {OfficeActs & {sort: (facepiece: string, tester: string) => void, want: (w: Wanted) => void, days: (from: string, to: string) => void, type: (text: string) => void, choose: (p: {id: string, called: string}|null) => void, older: () => void, save: (path: string) => void}} ListActs */

/** @param {Event} e */
const valueIn = (e) => /** @type {HTMLInputElement} */ (e.target).value;

const wants = () => /** @type {[Wanted, string][]} */ ([["all", t("desk.records.all")], ...Object.entries(outcomes), ["recalled", t("desk.records.want_recalled")], ["practice", t("desk.records.want_practice")]]);

/** @param {Office} o @param {ListUi} ui @param {ListActs} act */
export function records(o, ui, act) {
  return office({ here: "/records", title: t("desk.records.title"), cls: "records", say: ui.rows === null ? "" : summary(ui) }, o, act, html`
    ${ui.whole ? filters(ui, act) : nothing}
    ${ui.rows === null ? (o.problem ? nothing : loading(t("desk.records.reading"))) : ui.rows.length === 0 ? (ui.goesOn ? nothing : none(ui)) : book(ui.rows)}
    <p class="small" role="status">${ui.goesOn ? t("desk.records.goes_on", { n: ui.rows?.length ?? 0 }) : nothing}</p>
    ${ui.more && !ui.goesOn ? html`<p class="row"><button ?disabled=${ui.reading} @click=${act.older}>${t("desk.records.further")}<small>${ui.oldest ? t("desk.records.read_back", { n: ui.looked, day: dayIn(ui.oldest) }) : t("desk.records.read", { n: ui.looked })}</small></button></p>` : nothing}
    ${ui.whole ? exports(act) : nothing}`);
}

/** @param {ListUi} ui */
function summary(ui) {
  const rows = ui.rows ?? [];
  if (rows.length === 0) return "";
  const real = rows.filter((r) => !r.practice);
  const parts = tally(Object.fromEntries([...Object.keys(outcomes).map((key) => [key, real.filter((r) => r.outcome === key).length]), ["practice", rows.length - real.length]]));
  return `${ui.person ? `${ui.person.called}: ` : ""}${t(ui.more ? "desk.records.sum_so_far" : "desk.records.sum", { n: rows.length, parts })}`;
}

/** @param {ListUi} ui */
function none(ui) {
  const asked = ui.wanted !== "all" || ui.from || ui.to || ui.person || ui.facepiece || ui.tester;
  return html`<p class="say">${asked ? (ui.more ? t("desk.records.none_read") : t("desk.records.none_like")) : t("desk.records.none_yet")}</p>`;
}

/** @param {ListUi} ui @param {ListActs} act */
function filters(ui, act) {
  return html`<section class="asking noprint" aria-label=${t("desk.records.which")}>
    <div class="seek">${ui.person
      ? html`<p class="field"><span>${t("desk.records.wearer")}</span><button @click=${() => act.choose(null)}>${ui.person.called}<small>${t("desk.records.everybody")}</small></button></p>`
      : html`<label class="field"><span>${t("desk.records.find")} <small>${t("desk.records.find_hint")}</small></span><input id="find" type="search" autocomplete="off" spellcheck="false" .value=${ui.query} @input=${(/** @type {Event} */ e) => act.type(valueIn(e))}></label>
        <div role="status">${ui.matches === null ? nothing : ui.matches.length === 0 ? html`<p class="small">${t("desk.records.nobody")}</p>` : html`<ul class="matches" aria-label=${t("desk.records.people_found")}>${ui.matches.map((m) => html`<li><button @click=${() => act.choose(m)}>${m.called}<small>${m.more}</small></button></li>`)}</ul>`}</div>`}</div>
    ${dateField({ label: t("desk.records.from"), value: ui.from, max: ui.to, change: (e) => act.days(valueIn(e), ui.to) })}
    ${dateField({ label: t("desk.records.to"), value: ui.to, min: ui.from, change: (e) => act.days(ui.from, valueIn(e)) })}
    <label class="field"><span>${t("desk.record.facepiece")}</span><select @change=${(/** @type {Event} */ e) => act.sort(valueIn(e), ui.tester)}><option value="" ?selected=${ui.facepiece === ""}>${t("desk.records.every_facepiece")}</option>${ui.facepieces.map((f) => html`<option value=${f.id} ?selected=${f.id === ui.facepiece}>${f.label}</option>`)}</select></label>
    <label class="field tester-of"><span>${t("desk.records.tester")} <small>${t("desk.records.tester_hint")}</small></span><input type="text" maxlength="120" autocomplete="off" spellcheck="false" .value=${ui.tester} @change=${(/** @type {Event} */ e) => act.sort(ui.facepiece, valueIn(e))}></label>
    <fieldset class="field outcome-choice"><legend>${t("desk.records.outcome")}</legend><div class="either slim">${wants().map(
      ([key, word]) => html`<label class="option"><input type="radio" name="wanted" value=${key} .checked=${ui.wanted === key} @change=${() => act.want(key)}><span>${word}</span></label>`,
    )}</div></fieldset>
  </section>`;
}

/** @param {ListActs} act */
function exports(act) {
  const all = [["/runs.csv", "CSV", t("desk.records.csv")], ["/runs.xlsx", "XLSX", t("desk.records.xlsx")], ["/due.ics", "ICS", t("desk.records.ics")]];
  return html`<section class="take noprint" aria-labelledby="h-take"><h2 id="h-take">${t("desk.records.take")}</h2><div class="row">${all.map(
    ([path = "", word, small]) => html`<button @click=${() => act.save(path)}>${word}<small>${small}</small></button>`,
  )}</div><p class="small">${t("desk.records.names_kept")}</p></section>`;
}

/** The rows, day by day. @param {Row[]} rows */
function book(rows) {
  return html`<table class="book"><thead><tr><th scope="col">${t("desk.records.opened")}</th><th scope="col">${t("desk.records.wearer_facepiece")}</th><th scope="col">${t("desk.records.outcome")}</th></tr></thead>
    ${byDay(rows).map((d) => html`<tbody><tr class="day"><th scope="rowgroup" colspan="3"><span>${dayIn(d.day) || t("desk.records.day_unknown")}</span> <span class="glance" aria-hidden="true">${d.rows.map((r) => pip(r.practice ? "practice" : r.outcome))}</span></th></tr>${d.rows.map(
      (r) => html`<tr><td><a href=${`/records/${encodeURIComponent(r.run)}`}>${r.at.slice(11, 16) || r.run}</a></td>
        <td>${r.name || (r.person ? html`<span class="small">${unnamed(r.person)}</span>` : "")}<small>${pieceName(r.facepiece)}</small></td>
        <td>${standing(r)} <a href=${`/review/${encodeURIComponent(r.run)}`} aria-label=${t("desk.records.review_of", { run: r.run })}>${t("desk.records.review")}</a>${r.reason && !r.recalled ? html`<small>${lookUp(reasons, r.reason)}</small>` : nothing}${r.recalled ? html`<small>${recallWhy(r.recalled)}</small>` : nothing}</td></tr>`,
    )}</tbody>`)}</table>`;
}

/** An outcome's shape, as the pips of a strip: given, crossed, struck or none. @param {string} key */
function pip(key) {
  return html`<svg class="glance-pip" viewBox="0 0 20 20">${key === "cannot_taste"
    ? svg`<path class="y-cross" d="M4 10h12"></path>`
    : key === "practice"
      ? svg`<circle class="y-pip y-dashed" cx="10" cy="10" r="7"></circle>`
      : svg`<circle class=${key === "pass" ? "y-pip y-given" : "y-pip"} cx="10" cy="10" r="7"></circle>${key === "fail" ? svg`<path class="y-cross" d="M2 2l16 16m0 -16l-16 16"></path>` : key === "not_valid" ? svg`<path class="y-cross" d="M2 18l16 -16"></path>` : nothing}`}</svg>`;
}

/** How a run stands now, and how it stood first. @param {Row} r */
function standing(r) {
  return html`${r.recalled && r.first !== r.outcome ? html`<s class="was">${outcome(r.first)}</s> ` : nothing}<span class=${`outcome ${r.outcome}`}>${outcome(r.outcome)}</span>${r.recalled ? html` <span class="stamp recalled">${t("desk.records.recalled")}</span>` : nothing}${r.practice ? html` <span class="stamp">${t("desk.records.practice")}</span>` : nothing}`;
}

/** @param {string} o */
function outcome(o) {
  return html`<span aria-hidden="true">${marks[o] ?? ""}</span> ${lookUp(outcomes, o)}`;
}

/**
 * @typedef {object} RecordUi
 * @property {"wide"|"low"|"narrow"} size
 * @property {Full|null} full
 * @property {Row|null} run          what was added later; null: the box does not tell
 * @property {Record<string, string>} kit   nebuliser's mark by id
 * @property {boolean} open          the run is still open
 * @property {"look"|"amend"|"tester"|"wearer"} mode
 * @property {import("./sign.js").Drawing} drawing
 * @property {string} typed          a name in place of a drawing
 * @property {import("./sign.js").Point[][]} letters  its letters
 * @property {import("./desk.js").Claim|null} claim
 * @property {string} picture        of the card, as data; empty: not asked for
 * @property {string} code           the evidence as a code, as data; empty: none yet
 * @property {Row[]|null} beside     runs that this one may be laid beside; null: not asked for
 */
/**
 * @typedef {OfficeActs & {save: (path: string) => void, mode: (m: RecordUi["mode"]) => void, amend: (field: string, to: string, reason: string) => void,
 *   pen: (what: "down"|"move"|"up", x: number, y: number) => void, wipe: () => void, type: (text: string) => void, sign: () => void, prove: () => void, copy: (text: string, what: string) => void, card: () => void, beside: () => void}} RecordActs
 */

/** @param {Office} o @param {RecordUi} ui @param {RecordActs} act */
export function record(o, ui, act) {
  const { full } = ui;
  const page = { here: "/records", title: full ? t("desk.record.of") : t("desk.record.title"), cls: "record" };
  if (full === null) return office(page, o, act, ui.open ? html`<p class="say">${t("desk.record.still_open")}</p><p><a href="/bench">${t("desk.record.to_bench")}</a></p>` : o.problem ? html`<p><a href="/records">${t("desk.record.all")}</a></p>` : loading(t("desk.record.reading")));
  const r = full.record;
  const { strip, frames } = ofRecord(full, ui.size);
  const now = outcomeNow(full, ui.run);
  const first = outcomeFirst(full, ui.run);
  const recall = recallOf(full, ui.run);
  return office({ ...page, own: true }, o, act, html`
    ${practice(full.practice)}
    <section class="outcome-line" aria-label=${t("desk.records.outcome")}>${recall && now !== first ? html`<p class="outcome"><s class="was">${outcome(first)}</s></p>` : nothing}<p class=${`outcome ${now}`}>${outcome(now)}</p>
      <p>${recall ? "" : r.reason ? lookUp(reasons, r.reason) : t("desk.record.nothing_tasted")}</p></section>
    ${recall ? html`<p class="notice recall"><strong>${t("desk.record.recall")}</strong> ${recallWhy(recall.why)} ${t("desk.record.recall_means")}${recall.by || recall.at ? html` ${t("desk.record.recall_by", { by: recall.by || t("desk.record.not_noted"), when: moment(recall.at, recall.quality) || t("desk.record.not_noted") })}` : nothing}</p>` : nothing}
    <div class="strip strips">${frames.map((frame, i) => stripSvg(strip, frame, frames.length > 1 ? t("desk.record.strip_part", { i: i + 1, of: frames.length }) : t("desk.record.strip")))}</div>
    <p class="small">${t("desk.record.modelled", { n: strip.halfLifeMs / 1000 })}</p>
    ${takeAway(full, ui, act)}
    <div class="two">${facts(full, ui)}<div class="stack later">${doses(full)}${exercised(full)}${signatures(full, ui, act)}${corrections(ui, act)}</div></div>
    <p class="prevails">${prevails(full.prevails)}</p>
    <div class="two later">${opening(full)}${proof(full, ui, act)}</div>
    <p class="signs"><span>${t("desk.records.tester")}</span><span>${t("desk.records.wearer")}</span></p>`);
}

/** @param {Full} full @param {RecordUi} ui @param {RecordActs} act */
function takeAway(full, ui, act) {
  const at = `/runs/${encodeURIComponent(full.run)}`;
  const why = cardRefused(full, ui.run);
  return html`<section class="take noprint" aria-label=${t("desk.records.take")}><div class="row">
    ${ui.run === null
      ? html`<button @click=${() => print()}>${t("desk.record.print")}</button>`
      : html`<button class="primary" @click=${() => act.save(`${at}/record.pdf`)}>${t("desk.record.pdf")}<small>${t("desk.record.pdf_what")}</small></button>
        <button @click=${() => act.save(`${at}/record.json`)}>${t("desk.record.json")}<small>${t("desk.record.json_what")}</small></button>
        ${why ? nothing : html`<button @click=${() => act.save(`${at}/card.pdf?lang=own`)}>${t("desk.record.card_pdf")}<small>${t("desk.record.card_pdf_what")}</small></button><button @click=${() => act.save(`${at}/card.png?lang=own`)}>${t("desk.record.card_png")}<small>${t("desk.record.card_png_what")}</small></button>`}`}
  </div><p><a href=${`/review/${encodeURIComponent(full.run)}`}>${t("desk.record.review")}</a></p>${ui.run === null ? nothing : beside(full, ui, act)}${ui.run !== null && why ? html`<p class="why"><b>${t("desk.record.no_card")}</b> ${lookUp(noCard, why)}</p>` : nothing}</section>`;
}

/** The choice of a second run to review beside this one. @param {Full} full @param {RecordUi} ui @param {RecordActs} act */
function beside(full, ui, act) {
  if (ui.beside === null) return html`<div class="row"><button @click=${act.beside}>${t("desk.record.beside")}<small>${t("desk.record.beside_what")}</small></button></div>`;
  return html`<div role="status"><h2>${t("desk.record.beside_which")}</h2>${ui.beside.length === 0 ? html`<p>${t("desk.record.beside_none")}</p>` : html`<ul class="points besides">${ui.beside.map((r) => html`<li><a href=${`/review/${encodeURIComponent(full.run)}/${encodeURIComponent(r.run)}`}>${[when(r.at) || r.run, r.name, r.facepiece].filter(Boolean).join(", ")}</a> <span class=${`outcome ${r.outcome}`}>${outcome(r.outcome)}</span></li>`)}</ul>`}</div>`;
}

/** @param {Full} full @param {RecordUi} ui */
function facts(full, ui) {
  const r = full.record;
  const f = r.fit;
  const line = (/** @type {string} */ name, /** @type {unknown} */ value) => html`<tr><th scope="row">${name}</th><td>${value}</td></tr>`;
  const label = (/** @type {string} */ first, /** @type {string} */ field) => {
    const is = labelNow(first, ui.run?.amended ?? [], field);
    return is === first ? first || t("desk.record.not_noted") : html`${is} <small>${rich("desk.record.first_was", { value: html`<s>${first || t("desk.record.not_noted")}</s>` })}</small>`;
  };
  const used = full.kit ?? null;
  return html`<table class="facts-of"><tbody>
      ${line(t("desk.records.wearer"), whoOf(full.wearer))}${line(t("desk.record.facepiece"), [pieceName(whoOf(full.facepiece)), typeof full.facepiece === "string" ? full.style : ""].filter(Boolean).join(", "))}
      ${ui.run?.companyNumber && ui.run.companyNumber !== whoOf(full.wearer) ? line(t("desk.record.company_number"), ui.run.companyNumber) : nothing}
      ${full.whose !== undefined ? line(t("desk.record.whose"), label(full.whose, "whose")) : nothing}
      ${line(t("desk.records.tester"), label(full.tester, "tester"))}
      ${line(t("desk.records.opened"), html`${when(full.opened) || t("desk.record.clock_unset")}${full.wall_quality ? html` <small>${lookUp(qualities, full.wall_quality)}</small>` : nothing}`)}
      ${line(t("desk.record.rules"), ruleName(full.rules_name || r.rules))}${line(t("desk.record.kind"), t("desk.record.qualitative", { agent: lookUp(agents, r.agent) }))}
      ${used?.length
        ? used.map((k) => line(k.role === "weak" ? t("desk.record.weak_nebuliser") : k.role === "strong" ? t("desk.record.strong_nebuliser") : t("desk.record.nebuliser"), html`${t("desk.record.lot", { mark: k.mark, agent: lookUp(agents, k.agent), lot: k.lot || t("desk.record.not_noted") })}<small>${kitWords(k)}</small>`))
        : ui.run?.nebulisers.length ? line(t("desk.record.nebulisers"), html`${ui.run.nebulisers.map((id) => ui.kit[id] ?? id).join(", ")}<small>${t("desk.record.lots_in_pdf")}</small>`) : nothing}
      ${full.hood === undefined ? nothing : line(t("desk.record.hood"), hoodWords(full.hood))}
      ${full.answers?.length ? line(t("desk.record.asked"), html`<ul>${full.answers.map((a) => html`<li>${t(a.yes ? "desk.record.asked_yes" : "desk.record.asked_no", { question: lookUp(questions, a.question) })}</li>`)}</ul>`) : nothing}
      ${line(t("run.stages.screening"), t(r.screening.bin ? (r.screening.doubtful ? "desk.record.tasted_doubtful" : "desk.record.tasted") : "desk.record.no_bin", { n: r.screening.squeezes, doubtful: r.screening.doubtful ?? 0, bin: r.screening.bin ?? 0 }))}
      ${f ? line(t("desk.record.initial"), `${t("desk.record.given_of", { given: f.initial.given, of: f.initial.required })}${corrected(f.initial)}${listed(f.initial.remarks)}`) : nothing}
      ${f ? line(t("desk.record.squeezes"), f.squeezes_total) : nothing}
      ${f ? line(t("desk.record.clock"), f.duration_s === null ? t("desk.record.not_started") : `${figure(f.duration_s, 1)} s`) : nothing}
      ${f?.taste_s != null ? line(t("desk.record.tasted_at"), t("desk.record.tasted_during", { s: figure(f.taste_s, 1), exercise: exercise(f.taste_exercise ?? "").name })) : nothing}
      ${f?.level ? line(t("desk.record.level"), t("desk.record.levels", { mean: figure(f.level.mean, 2), least: figure(f.level.min, 2) })) : nothing}
      ${r.proof ? line(t("desk.record.proof"), r.proof_left ? t("desk.record.proof_by", { what: lookUp(proofs, r.proof_left.why), by: saidBy(r.proof_left.by) }) : lookUp(proofs, r.proof)) : nothing}
      ${r.names?.length ? line(t("desk.record.names"), r.names.map((n) => t(n.yes ? "desk.record.name_yes" : "desk.record.name_no", { by: saidBy(n.by) })).join("; ")) : nothing}
      ${full.remarks?.length ? line(t("desk.record.on_run"), full.remarks.map((k) => (k === "tried_before" && full.try ? t("run.try", { n: full.try }) : lookUp(onRun, k))).join(" ")) : nothing}
      ${line(t("desk.record.button"), r.inputs.supervised ? t("desk.record.pair") : t("desk.record.single"))}
      ${line(t("desk.record.inputs"), t("desk.record.counted", { squeezes: r.inputs.squeeze, taste: r.inputs.taste, steps: r.inputs.step, rejected: r.inputs.noise_edges }))}
      ${r.corrections?.length ? line(t("desk.record.corrections"), r.corrections.map((c) => t("desk.record.corrected_by", { by: saidBy(c.by ?? ""), what: `${c.delta > 0 ? t("desk.record.added") : t("desk.record.taken")}, ${c.top_up ? t("desk.record.top_up_n", { n: c.top_up }) : lookUp(stages, c.part === "initial" ? "dosing" : "screening")}: ${c.reason}` })).join("; ")) : ""}
      ${line(t("desk.record.faults"), r.inputs.faults.length ? r.inputs.faults.map(fault).join("; ") : t("desk.record.none"))}
      ${line(t("desk.record.run"), full.run)}${line(t("desk.record.number"), full.number)}${line(t("desk.record.hash"), html`<code>${full.hash}</code>`)}
    </tbody></table>`;
}

/** @param {Full} full */
function doses(full) {
  const tops = full.record.fit?.top_ups ?? [];
  return tops.length === 0
    ? nothing
    : html`<table class="doses"><caption class="quiet">${t("desk.record.top_ups")}</caption><thead><tr><th scope="col">${t("desk.record.top_up")}</th><th scope="col">${t("desk.record.due_s")}</th><th scope="col">${t("desk.record.given")}</th><th scope="col">${t("desk.record.first")}</th><th scope="col">${t("desk.record.done")}</th><th scope="col">${t("desk.record.remarks")}</th></tr></thead><tbody>${tops.map(
        (d) => html`<tr><th scope="row">${d.n}</th><td>${d.due_s}</td><td>${t("desk.record.given_of", { given: d.given, of: d.required })}</td><td>${d.first_s == null ? "" : figure(d.first_s, 1)}</td><td>${d.done_s == null ? "" : figure(d.done_s, 1)}</td><td>${[
          ...d.remarks.map((x) => lookUp(remarks, x)), ...(d.doubtful ? [t("desk.record.doubtful", { n: d.doubtful })] : []),
        ].join(", ")}${corrected(d)}</td></tr>`,
      )}</tbody></table>`;
}

/** The exercises that were begun, and those that were not. @param {Full} full */
function exercised(full) {
  if (full.record.fit?.duration_s == null) return nothing;
  const at = (/** @type {number|null} */ s) => (s === null ? "" : `${Math.floor(s / 60)}:${String(Math.floor(s % 60)).padStart(2, "0")}`);
  return html`<table class="doses"><caption class="quiet">${t("desk.record.exercises")}</caption><thead><tr><th scope="col">${t("desk.record.exercise")}</th><th scope="col">${t("desk.record.from_to")}</th><th scope="col">${t("desk.record.course")}</th></tr></thead><tbody>${exercisesOf(full).map(
    (e) => html`<tr><th scope="row">${exercise(e.id).name}</th><td>${e.start === null ? "" : `${at(e.start)} – ${at(e.end)}`}</td><td>${t(`desk.record.exercise_${e.course}`)}</td></tr>`,
  )}</tbody></table>`;
}

/** By whom something was said. @param {string} by */
function saidBy(by) {
  return by === "wearer" ? t("desk.record.by_wearer") : by || t("desk.record.by_unknown");
}

/** How and when a signature was made, as far as that is known. @param {import("./state-record.js").Signature} s */
function signedHow(s) {
  const how = s.how === "drawn" || s.how === "typed" ? t(`desk.record.how.${s.how}`) : "";
  const words = [how, moment(s.at, s.quality)].filter(Boolean).join(", ");
  return words ? html`<br><small>${words}</small>` : nothing;
}

/** An instant in words, with what is to be said of the clock where it could not be trusted. @param {string|undefined} at @param {string|undefined} quality */
function moment(at, quality = "") {
  const shown = when(at);
  return shown === "" || quality === "" || quality === "confirmed" || quality === "network" ? shown : t("desk.record.moment", { when: shown, clock: lookUp(qualities, quality) });
}

/** The hood as it was named at the opening. @param {import("./state-record.js").Hood|null} h */
function hoodWords(h) {
  if (h === null) return t("desk.record.hood_none");
  const words = t(h.across_mm && h.tall_mm ? "desk.record.hood_size" : "desk.record.hood_unmeasured", { mark: h.mark, across: h.across_mm, tall: h.tall_mm });
  return h.oversized ? html`${words}<small>${t("desk.record.hood_large")}</small>` : words;
}

/** @param {import("./state-record.js").Used} k */
function kitWords(k) {
  const hours = k.age_ns === undefined ? "" : t("desk.record.filled", { h: Math.floor(k.age_ns / 3.6e12), min: Math.floor(k.age_ns / 6e10) % 60 });
  return [lookUp(roles, k.role), hours, k.checked ? t("desk.record.mist_seen") : k.checked === false ? t("desk.record.mist_unseen") : "", k.expired ? t("desk.record.past_date") : ""].filter(Boolean).join("; ");
}

/** @param {Full} full @param {RecordUi} ui @param {RecordActs} act */
function signatures(full, ui, act) {
  const { run } = ui;
  const refused = signRefused(full, run);
  return html`<section aria-labelledby="h-sign"><h2 id="h-sign">${t("desk.record.signatures")}</h2>
    ${run?.signed.length
      ? html`<ul class="signed">${Object.keys(signers).map((who) => {
          const s = signatureOf(run, who);
          return s ? html`<li><b>${signers[who]}</b> <span>${s.holds ? html`<span aria-hidden="true">✓ </span>${t("desk.record.signed_stands")}` : html`<span aria-hidden="true">⊘ </span>${t("desk.record.signed_earlier")}`}${signedHow(s)}</span></li>` : nothing;
        })}</ul>`
      : html`<p class="small">${t("desk.record.nobody_signed")}</p>`}
    ${refused
      ? html`<p class="why">${refused}</p>`
      : ui.mode === "tester" || ui.mode === "wearer"
        ? pad(full, ui, act)
        : html`<div class="row noprint">${Object.keys(signers).map((who) => html`<button @click=${() => act.mode(/** @type {"tester"|"wearer"} */ (who))}>${lookUp(sentences("desk.record.sign_as"), who)}<small>${who === "tester" ? labelNow(full.tester, run?.amended ?? [], "tester") : whoOf(full.wearer)}</small></button>`)}</div>`}
  </section>`;
}

const padHeight = 200;

/** @param {Full} full @param {RecordUi} ui @param {RecordActs} act */
function pad(full, ui, act) {
  const who = ui.mode === "wearer" ? "wearer" : "tester";
  const at = (/** @type {"down"|"move"|"up"} */ what) => (/** @type {PointerEvent} */ e) => {
    if (what !== "move" || e.buttons) e.preventDefault();
    const el = /** @type {Element} */ (e.currentTarget);
    if (what === "down") el.setPointerCapture(e.pointerId);
    const box = el.getBoundingClientRect();
    act.pen(what, (e.clientX - box.left) / box.width, (e.clientY - box.top) / box.height);
  };
  const ready = ui.typed.trim() ? ui.letters.length > 0 : drawn(ui.drawing);
  return html`<form class="signing noprint" aria-label=${lookUp(sentences("desk.record.signature_of"), who)} @submit=${(/** @type {Event} */ e) => {
    e.preventDefault();
    act.sign();
  }}>
    <p class="oath">${signing[who]}</p>
    <svg class="pad" viewBox="0 0 ${padHeight * ratio} ${padHeight}" role="img" aria-label=${t("desk.record.field_draw")} @pointerdown=${at("down")} @pointermove=${at("move")} @pointerup=${at("up")} @pointercancel=${at("up")}>
      <path class="pad-line" d=${`M24 ${padHeight * 0.78}H${padHeight * ratio - 24}`}></path>${(ui.typed.trim() ? ui.letters : ui.drawing.strokes).map((s) => svg`<path class=${ui.typed.trim() ? "pad-stroke pad-letters" : "pad-stroke"} d=${pathOf(s, padHeight)}></path>`)}</svg>
    ${ui.drawing.full ? html`<p class="small" role="status">${t("desk.record.field_full")}</p>` : nothing}
    <label class="field"><span>${t("desk.record.or_type")} <small>${t("desk.record.typed_kept")}</small></span><input id="typed" type="text" maxlength="120" autocomplete="off" .value=${ui.typed} @input=${(/** @type {Event} */ e) => act.type(valueIn(e))}></label>
    <p class="small">${rich("desk.record.bound", { hash: html`<code>${full.hash.slice(0, 16)}…</code>` })}</p>
    <div class="row"><button class="primary" ?disabled=${!ready}>${t("desk.record.sign")}<small>${ui.typed.trim() ? t("desk.record.with_typed") : t("desk.record.with_drawing")}</small></button><button type="button" @click=${act.wipe}>${t("desk.record.wipe")}</button><button type="button" @click=${() => act.mode("look")}>${t("desk.record.leave")}</button></div>
  </form>`;
}

/** @param {RecordUi} ui @param {RecordActs} act */
function corrections(ui, act) {
  const { run } = ui;
  if (run === null) return nothing;
  const sent = (/** @type {Event} */ e) => {
    const f = filledIn(e);
    act.amend(textOf(f, "field"), textOf(f, "to"), textOf(f, "reason"));
  };
  return html`<section aria-labelledby="h-amend"><h2 id="h-amend">${t("desk.record.corrected_labels")}</h2>
    ${run.amended.length
      ? html`<div class="scroll" tabindex="0" role="group" aria-label=${t("desk.record.corrected_labels")}><table><thead><tr><th scope="col">${t("desk.record.what")}</th><th scope="col">${t("desk.record.was")}</th><th scope="col">${t("desk.record.is")}</th><th scope="col">${t("desk.record.why_whom")}</th></tr></thead><tbody>${run.amended.map((a) => html`<tr><th scope="row">${lookUp(labels, a.field)}</th><td><s>${a.from || t("desk.record.not_noted")}</s></td><td>${a.to}</td><td>${a.reason}<small>${[a.by, moment(a.at, a.quality)].filter(Boolean).join(", ")}</small></td></tr>`)}</tbody></table></div>`
      : html`<p class="small">${t("desk.record.none_corrected")}</p>`}
    ${ui.mode === "amend"
      ? html`<form class="noprint amend" @submit=${sent}>
          <fieldset class="field"><legend>${t("desk.record.which_label")}</legend><div class="either slim">${Object.entries(labels).map(([key, word], i) => html`<label class="option"><input type="radio" name="field" value=${key} ?checked=${i === 0}><span>${word}</span></label>`)}</div></fieldset>
          <label class="field"><span>${t("desk.record.should_say")}</span><input name="to" type="text" maxlength="120" required autocomplete="off"></label>
          <label class="field"><span>${t("desk.record.why")} <small>${t("desk.record.why_hint")}</small></span><input name="reason" type="text" maxlength="400" required autocomplete="off"></label>
          <p class="small">${t("desk.record.first_stays")}</p>
          <div class="row"><button class="primary">${t("desk.record.correct_it")}</button><button type="button" @click=${() => act.mode("look")}>${t("desk.record.leave")}</button></div></form>`
      : html`<div class="row noprint"><button @click=${() => act.mode("amend")}>${t("desk.record.correct")}<small>${t("desk.record.correct_what")}</small></button></div>`}
  </section>`;
}

/** @param {Full} full */
function opening(full) {
  if (full.box === undefined) return nothing;
  const poor = full.box.filter((p) => p.state !== "loaded");
  return html`<section aria-labelledby="h-box"><h2 id="h-box">${t("desk.record.box")}</h2>
    <table><tbody>
      ${full.box.map((p) => html`<tr><th scope="row">${partName(p.name)}</th><td><span aria-hidden="true">${p.state === "loaded" ? "●" : p.state === "failed" ? "✕" : "○"} </span>${lookUp(pieces, p.state)}${p.reason ? html`<small>${partWhy(p.reason)}</small>` : nothing}</td></tr>`)}
      <tr><th scope="row">${t("desk.record.wires")}</th><td>${full.wiring_checked ? when(full.wiring_checked) : t("desk.record.wires_not")}</td></tr>
      <tr><th scope="row">${t("desk.record.tone")}</th><td>${full.sound_ms ? html`${Math.round(full.sound_ms)} ms<small>${t("desk.record.reaction")}</small>` : t("desk.record.unmeasured")}</td></tr>
      ${full.time_source ? html`<tr><th scope="row">${t("desk.record.edges")}</th><td>${retold("run.time_sources", full.time_source)}</td></tr>` : nothing}
      ${full.version ? html`<tr><th scope="row">${t("desk.record.program")}</th><td>tallyhood ${full.version}</td></tr>` : nothing}
    </tbody></table>
    ${full.box.length === 0 ? html`<p class="small">${t("desk.record.no_parts")}</p>` : poor.length ? nothing : html`<p class="small">${t("desk.record.every_part")}</p>`}</section>`;
}

/** @param {Full} full @param {RecordUi} ui @param {RecordActs} act */
function proof(full, ui, act) {
  if (ui.run === null || full.practice) return nothing;
  const c = ui.claim;
  return html`<section aria-labelledby="h-proof"><h2 id="h-proof">${t("desk.record.evidence")}</h2>
    ${c === null
      ? html`<p class="small">${t("desk.record.can_sign")}</p><div class="row noprint"><button @click=${act.prove}>${t("desk.record.show_proof")}</button></div>`
      : html`<h3>${t("desk.record.shows")}</h3><ul class="points">${evidence.shows.map((x) => html`<li>${x}</li>`)}</ul><h3>${t("desk.record.shows_not")}</h3><ul class="points">${evidence.not.map((x) => html`<li>${x}</li>`)}</ul>
        ${ui.code ? html`<img class="code" src=${ui.code} alt=${t("desk.record.code_alt")}>` : nothing}
        <div class="row noprint"><button @click=${() => act.save(`/evidence/${encodeURIComponent(full.run)}/code.png`)}>${t("desk.record.code_png")}<small>PNG</small></button><button @click=${() => act.save(`/evidence/${encodeURIComponent(full.run)}/code.svg`)}>${t("desk.record.code_svg")}<small>SVG</small></button></div>
        <label class="field"><span>${t("desk.record.code_says")}</span><textarea readonly rows="4" spellcheck="false" .value=${c.text}></textarea></label>
        <div class="row noprint"><button @click=${() => act.copy(c.text, t("desk.record.codes_text"))}>${t("desk.record.copy")}</button>${cardRefused(full, ui.run) || ui.picture ? nothing : html`<button @click=${act.card}>${t("desk.record.show_card")}<small>${t("desk.record.with_code")}</small></button>`}</div>
        ${ui.picture ? html`<img class="card" src=${ui.picture} alt=${t("desk.record.card_alt")}>` : nothing}
        <p class="small">${rich("desk.record.to_check", { command: html`<code>tallyhood records check</code>` })} ${t("desk.record.hashes", { n: c.proof.length })}</p>`}
  </section>`;
}

/** @param {string[]} list */
function listed(list) {
  return list.length ? `, ${list.map((x) => lookUp(remarks, x)).join(", ")}` : "";
}

/** @param {{added: number, taken: number}} d */
function corrected(d) {
  return d.added || d.taken ? ` (${t("desk.record.was_corrected", { added: d.added, taken: d.taken })})` : "";
}
