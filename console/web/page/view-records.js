// SPDX-License-Identifier: Apache-2.0

// The list of records and one record, for screen and paper. They show what a
// record holds and what was added to it later, and add nothing of their own.

import { html, nothing, svg } from "./vendor/lit-html.js";
import { stripSvg } from "./draw.js";
import { drawn, pathOf, ratio } from "./sign.js";
import { byDay, cardRefused, labelNow, ofRecord, outcomeNow, signatureOf, signRefused, when, whoOf } from "./state-record.js";
import { marks } from "./state.js";
import { practice } from "./view-common.js";
import { filledIn, loading, office, textOf } from "./view-office.js";
import { agents, exercise, fault, lookUp, outcomes, prevails, proofs, reasons, remarks, roles } from "./words.js";
import { evidence, labels, noCard, pieces, qualities, signers, signing } from "./words-desk.js";

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
 */
/** @typedef {OfficeActs & {want: (w: Wanted) => void, days: (from: string, to: string) => void, type: (text: string) => void, choose: (p: {id: string, called: string}|null) => void, older: () => void, save: (path: string) => void}} ListActs */

/** @param {Event} e */
const valueIn = (e) => /** @type {HTMLInputElement} */ (e.target).value;

/** @type {[Wanted, string][]} */
const wants = [["all", "All"], ["pass", "Pass"], ["fail", "Fail"], ["not_valid", "Not valid"], ["cannot_taste", "Cannot taste"], ["recalled", "Recalled"], ["practice", "Practice"]];

/** @param {Office} o @param {ListUi} ui @param {ListActs} act */
export function records(o, ui, act) {
  return office({ here: "/records", title: "Records", cls: "records", say: ui.rows === null ? "" : summary(ui) }, o, act, html`
    ${ui.whole ? filters(ui, act) : nothing}
    ${ui.rows === null ? (o.problem ? nothing : loading("Reading the records.")) : ui.rows.length === 0 ? none(ui) : book(ui.rows)}
    ${ui.more ? html`<p class="row"><button ?disabled=${ui.reading} @click=${act.older}>Look further back<small>${ui.looked} read${ui.oldest ? `, back to ${ui.oldest}` : ""}</small></button></p>` : nothing}
    ${ui.whole ? exports(act) : nothing}`);
}

/** @param {ListUi} ui */
function summary(ui) {
  const rows = ui.rows ?? [];
  if (rows.length === 0) return "";
  const real = rows.filter((r) => !r.practice);
  const parts = Object.entries(outcomes).map(([key, word]) => [real.filter((r) => r.outcome === key).length, word.toLowerCase()]).filter(([n]) => n !== 0);
  const trial = rows.length - real.length;
  if (trial) parts.push([trial, "practice"]);
  return `${ui.person ? `${ui.person.called}: ` : ""}*${rows.length} ${rows.length === 1 ? "record" : "records"}*${ui.more ? " so far" : ""}: ${parts.map(([n, w]) => `${n} ${w}`).join(", ")}.`;
}

/** @param {ListUi} ui */
function none(ui) {
  const asked = ui.wanted !== "all" || ui.from || ui.to || ui.person;
  return html`<p class="say">${asked ? (ui.more ? "None of those that were read. Look further back." : "No record is like that.") : "No record yet. A run that is closed leaves one."}</p>`;
}

/** @param {ListUi} ui @param {ListActs} act */
function filters(ui, act) {
  return html`<section class="asking noprint" aria-label="Which records">
    <div class="seek">${ui.person
      ? html`<p class="field"><span>Wearer</span><button @click=${() => act.choose(null)}>${ui.person.called}<small>show everybody again</small></button></p>`
      : html`<label class="field"><span>Find a wearer <small>name or number</small></span><input id="find" type="search" autocomplete="off" spellcheck="false" .value=${ui.query} @input=${(/** @type {Event} */ e) => act.type(valueIn(e))}></label>
        <div role="status">${ui.matches === null ? nothing : ui.matches.length === 0 ? html`<p class="small">Nobody of that name is on the list.</p>` : html`<ul class="matches" aria-label="People found">${ui.matches.map((m) => html`<li><button @click=${() => act.choose(m)}>${m.called}<small>${m.more}</small></button></li>`)}</ul>`}</div>`}</div>
    <label class="field"><span>From day</span><input type="date" .value=${ui.from} max=${ui.to || nothing} @change=${(/** @type {Event} */ e) => act.days(valueIn(e), ui.to)}></label>
    <label class="field"><span>To day</span><input type="date" .value=${ui.to} min=${ui.from || nothing} @change=${(/** @type {Event} */ e) => act.days(ui.from, valueIn(e))}></label>
    <fieldset class="field outcome-choice"><legend>Outcome</legend><div class="either slim">${wants.map(
      ([key, word]) => html`<label class="option"><input type="radio" name="wanted" value=${key} .checked=${ui.wanted === key} @change=${() => act.want(key)}><span>${word}</span></label>`,
    )}</div></fieldset>
  </section>`;
}

/** @param {ListActs} act */
function exports(act) {
  const all = [["/runs.csv", "CSV", "every record, as text"], ["/runs.xlsx", "XLSX", "every record, as a workbook"], ["/due.ics", "ICS", "due days, for a calendar"]];
  return html`<section class="take noprint" aria-labelledby="h-take"><h2 id="h-take">Take along</h2><div class="row">${all.map(
    ([path = "", word, small]) => html`<button @click=${() => act.save(path)}>${word}<small>${small}</small></button>`,
  )}</div><p class="small">These files hold names. Keep them as you keep the records.</p></section>`;
}

/** The rows, day by day. @param {Row[]} rows */
function book(rows) {
  return html`<table class="book"><thead><tr><th scope="col">Opened</th><th scope="col">Wearer, facepiece</th><th scope="col">Outcome</th></tr></thead>
    ${byDay(rows).map((d) => html`<tbody><tr class="day"><th scope="rowgroup" colspan="3"><span>${d.day || "Day not known"}</span> <span class="glance" aria-hidden="true">${d.rows.map((r) => pip(r.practice ? "practice" : r.outcome))}</span></th></tr>${d.rows.map(
      (r) => html`<tr><td><a href=${`/records/${encodeURIComponent(r.run)}`}>${r.at.slice(11, 16) || r.run}</a></td>
        <td>${r.name || (r.person ? html`<span class="small">erased</span>` : "")}<small>${r.facepiece}</small></td>
        <td>${standing(r)}${r.reason && !r.recalled ? html`<small>${lookUp(reasons, r.reason)}</small>` : nothing}${r.recalled ? html`<small>${lookUp(reasons, r.recalled)}</small>` : nothing}</td></tr>`,
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
  return html`${r.recalled && r.first !== r.outcome ? html`<s class="was">${outcome(r.first)}</s> ` : nothing}<span class=${`outcome ${r.outcome}`}>${outcome(r.outcome)}</span>${r.recalled ? html` <span class="stamp recalled">recalled</span>` : nothing}${r.practice ? html` <span class="stamp">practice</span>` : nothing}`;
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
 */
/**
 * @typedef {OfficeActs & {save: (path: string) => void, mode: (m: RecordUi["mode"]) => void, amend: (field: string, to: string, reason: string) => void,
 *   pen: (what: "down"|"move"|"up", x: number, y: number) => void, wipe: () => void, type: (text: string) => void, sign: () => void, prove: () => void, copy: (text: string, what: string) => void, card: () => void}} RecordActs
 */

/** @param {Office} o @param {RecordUi} ui @param {RecordActs} act */
export function record(o, ui, act) {
  const { full } = ui;
  const page = { here: "/records", title: full ? "Record of a fit test" : "Record", cls: "record" };
  if (full === null) return office(page, o, act, ui.open ? html`<p class="say">This run is still open. Its record is made when it ends.</p><p><a href="/bench">To the Bench</a></p>` : o.problem ? html`<p><a href="/records">All records</a></p>` : loading("Reading the record."));
  const r = full.record;
  const { strip, frames } = ofRecord(full, ui.size);
  const now = outcomeNow(full, ui.run);
  return office({ ...page, own: true }, o, act, html`
    ${practice(full.practice)}
    <section class="outcome-line" aria-label="Outcome">${ui.run?.recalled && now !== r.outcome ? html`<p class="outcome"><s class="was">${outcome(r.outcome)}</s></p>` : nothing}<p class=${`outcome ${now}`}>${outcome(now)}</p>
      <p>${ui.run?.recalled ? "" : r.reason ? lookUp(reasons, r.reason) : "Nothing was tasted through the whole test, with every dose given."}</p></section>
    ${ui.run?.recalled ? html`<p class="notice recall"><strong>Recalled.</strong> ${lookUp(reasons, ui.run.recalled)} The facts below stay as they were written; the outcome does not stand any more, and the person is to be tested again.</p>` : nothing}
    <div class="strip strips">${frames.map((frame, i) => stripSvg(strip, frame, `strip of the run${frames.length > 1 ? `, part ${i + 1} of ${frames.length}` : ""}: squeezes due and given, exercises, and the modelled hood level`))}</div>
    <p class="small">Level under the hood: modelled, every squeeze adding one and everything halving in ${strip.halfLifeMs / 1000} s. An aid to see what happened, never evidence.</p>
    ${takeAway(full, ui, act)}
    <div class="two">${facts(full, ui)}<div class="stack later">${doses(full)}${signatures(full, ui, act)}${corrections(ui, act)}</div></div>
    <p class="prevails">${full.prevails || prevails}</p>
    <div class="two later">${opening(full)}${proof(full, ui, act)}</div>
    <p class="signs"><span>Tester</span><span>Wearer</span></p>`);
}

/** @param {Full} full @param {RecordUi} ui @param {RecordActs} act */
function takeAway(full, ui, act) {
  const at = `/runs/${encodeURIComponent(full.run)}`;
  const why = cardRefused(full, ui.run);
  return html`<section class="take noprint" aria-label="Take along"><div class="row">
    ${ui.run === null
      ? html`<button @click=${() => print()}>Print</button>`
      : html`<button class="primary" @click=${() => act.save(`${at}/record.pdf`)}>Record, PDF<small>all its fields, to print</small></button>
        <button @click=${() => act.save(`${at}/record.json`)}>Record, JSON<small>for another program</small></button>
        ${why ? nothing : html`<button @click=${() => act.save(`${at}/card.pdf`)}>Wallet card, PDF<small>to print</small></button><button @click=${() => act.save(`${at}/card.png`)}>Wallet card, PNG<small>for a telephone</small></button>`}`}
  </div>${ui.run !== null && why ? html`<p class="why"><b>No wallet card.</b> ${lookUp(noCard, why)}</p>` : nothing}</section>`;
}

/** @param {Full} full @param {RecordUi} ui */
function facts(full, ui) {
  const r = full.record;
  const f = r.fit;
  const line = (/** @type {string} */ name, /** @type {unknown} */ value) => html`<tr><th scope="row">${name}</th><td>${value}</td></tr>`;
  const label = (/** @type {string} */ first, /** @type {string} */ field) => {
    const is = labelNow(first, ui.run?.amended ?? [], field);
    return is === first ? first || "not noted" : html`${is} <small>first: <s>${first || "not noted"}</s></small>`;
  };
  const used = full.kit ?? null;
  return html`<table class="facts-of"><tbody>
      ${line("Wearer", whoOf(full.wearer))}${line("Facepiece", [whoOf(full.facepiece), typeof full.facepiece === "string" ? full.style : ""].filter(Boolean).join(", "))}
      ${full.whose !== undefined ? line("Whose piece", label(full.whose, "whose")) : nothing}
      ${line("Tester", label(full.tester, "tester"))}
      ${line("Opened", html`${when(full.opened) || "clock not set"}${full.wall_quality ? html` <small>${lookUp(qualities, full.wall_quality)}</small>` : nothing}`)}
      ${line("Rules", full.rules_name || r.rules)}${line("Kind of test", `qualitative, taste, ${lookUp(agents, r.agent)}`)}
      ${used?.length
        ? used.map((k) => line(k.role === "weak" ? "Weak nebuliser" : k.role === "strong" ? "Strong nebuliser" : "Nebuliser", html`${k.mark}, ${lookUp(agents, k.agent)}, lot ${k.lot || "not noted"}<small>${kitWords(k)}</small>`))
        : ui.run?.nebulisers.length ? line("Nebulisers", html`${ui.run.nebulisers.map((id) => ui.kit[id] ?? id).join(", ")}<small>the lot of each stands in the record as PDF</small>`) : nothing}
      ${line("Sensitivity test", r.screening.bin ? `tasted after ${r.screening.squeezes}${r.screening.doubtful ? ` and ${r.screening.doubtful} doubtful` : ""} squeezes: bin ${r.screening.bin}` : `${r.screening.squeezes} squeezes, no bin`)}
      ${f ? line("Initial dose", `${f.initial.given} of ${f.initial.required}${corrected(f.initial)}${listed(f.initial.remarks)}`) : nothing}
      ${f ? line("Squeezes in all", f.squeezes_total) : nothing}
      ${f ? line("Run clock", f.duration_s === null ? "not started" : `${f.duration_s.toFixed(1)} s`) : nothing}
      ${f?.taste_s != null ? line("Tasted at", `${f.taste_s.toFixed(1)} s, during ${exercise(f.taste_exercise ?? "").name.toLowerCase()}`) : nothing}
      ${f?.level ? line("Modelled level", `mean ${f.level.mean.toFixed(2)}, least ${f.level.min.toFixed(2)} of the initial dose`) : nothing}
      ${r.proof ? line("Proof", lookUp(proofs, r.proof)) : nothing}
      ${line("Wearer's button", r.inputs.supervised ? "supervised pair" : "single contact, unsupervised")}
      ${line("Inputs", `${r.inputs.squeeze} squeezes, ${r.inputs.taste} taste, ${r.inputs.step} steps, ${r.inputs.noise_edges} rejected edges`)}
      ${r.corrections?.length ? line("Corrections", r.corrections.map((c) => `${c.delta > 0 ? "one added" : "one taken back"}, ${c.top_up ? `top-up ${c.top_up}` : c.part === "initial" ? "initial dose" : "sensitivity test"}: ${c.reason}`).join("; ")) : ""}
      ${line("Faults", r.inputs.faults.length ? r.inputs.faults.map(fault).join("; ") : "none")}
      ${line("Run", full.run)}${line("Number", full.number)}${line("Hash", html`<code>${full.hash}</code>`)}
    </tbody></table>`;
}

/** @param {Full} full */
function doses(full) {
  const tops = full.record.fit?.top_ups ?? [];
  return tops.length === 0
    ? nothing
    : html`<table class="doses"><caption class="quiet">Top-ups</caption><thead><tr><th scope="col">Top-up</th><th scope="col">Due, s</th><th scope="col">Given</th><th scope="col">First</th><th scope="col">Done</th><th scope="col">Remarks</th></tr></thead><tbody>${tops.map(
        (d) => html`<tr><th scope="row">${d.n}</th><td>${d.due_s}</td><td>${d.given} of ${d.required}</td><td>${d.first_s == null ? "" : d.first_s.toFixed(1)}</td><td>${d.done_s == null ? "" : d.done_s.toFixed(1)}</td><td>${[
          ...d.remarks.map((x) => lookUp(remarks, x)), ...(d.doubtful ? [`${d.doubtful} doubtful`] : []),
        ].join(", ")}${corrected(d)}</td></tr>`,
      )}</tbody></table>`;
}

/** @param {import("./state-record.js").Used} k */
function kitWords(k) {
  const hours = k.age_ns === undefined ? "" : `filled ${Math.floor(k.age_ns / 3.6e12)} h ${Math.floor(k.age_ns / 6e10) % 60} min before`;
  return [lookUp(roles, k.role), hours, k.checked ? "mist seen since" : k.checked === false ? "mist not seen since" : "", k.expired ? "past its date" : ""].filter(Boolean).join("; ");
}

/** @param {Full} full @param {RecordUi} ui @param {RecordActs} act */
function signatures(full, ui, act) {
  const { run } = ui;
  const refused = signRefused(full, run);
  return html`<section aria-labelledby="h-sign"><h2 id="h-sign">Signatures</h2>
    ${run?.signed.length
      ? html`<ul class="signed">${Object.keys(signers).map((who) => {
          const s = signatureOf(run, who);
          return s ? html`<li><b>${signers[who]}</b> <span>${s.holds ? html`<span aria-hidden="true">✓ </span>signed; it stands under the record as it is` : html`<span aria-hidden="true">⊘ </span>signed an earlier state; the record has changed since, so it does not stand`}</span></li>` : nothing;
        })}</ul>`
      : html`<p class="small">Nobody has signed on the screen. Signing is by choice; the record stands without it.</p>`}
    ${refused
      ? html`<p class="why">${refused}</p>`
      : ui.mode === "tester" || ui.mode === "wearer"
        ? pad(full, ui, act)
        : html`<div class="row noprint">${Object.keys(signers).map((who) => html`<button @click=${() => act.mode(/** @type {"tester"|"wearer"} */ (who))}>Sign as ${signers[who]?.toLowerCase()}<small>${who === "tester" ? labelNow(full.tester, run?.amended ?? [], "tester") : whoOf(full.wearer)}</small></button>`)}</div>`}
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
  return html`<form class="signing noprint" aria-label=${`Signature of the ${who}`} @submit=${(/** @type {Event} */ e) => {
    e.preventDefault();
    act.sign();
  }}>
    <p class="oath">${signing[who]}</p>
    <svg class="pad" viewBox="0 0 ${padHeight * ratio} ${padHeight}" role="img" aria-label="Field to draw in with finger, pen or mouse. Without one, type the name below." @pointerdown=${at("down")} @pointermove=${at("move")} @pointerup=${at("up")} @pointercancel=${at("up")}>
      <path class="pad-line" d=${`M24 ${padHeight * 0.78}H${padHeight * ratio - 24}`}></path>${(ui.typed.trim() ? ui.letters : ui.drawing.strokes).map((s) => svg`<path class=${ui.typed.trim() ? "pad-stroke pad-letters" : "pad-stroke"} d=${pathOf(s, padHeight)}></path>`)}</svg>
    ${ui.drawing.full ? html`<p class="small" role="status">The field holds no more. Sign, or wipe it and draw it shorter.</p>` : nothing}
    <label class="field"><span>Or type the name <small>kept as letters in outline, which nobody takes for a hand</small></span><input id="typed" type="text" maxlength="120" autocomplete="off" .value=${ui.typed} @input=${(/** @type {Event} */ e) => act.type(valueIn(e))}></label>
    <p class="small">It is bound to this record as shown: hash <code>${full.hash.slice(0, 16)}…</code> If the record changes before you press, nothing is signed.</p>
    <div class="row"><button class="primary" ?disabled=${!ready}>Sign<small>${ui.typed.trim() ? "with the typed name" : "with the drawing"}</small></button><button type="button" @click=${act.wipe}>Wipe</button><button type="button" @click=${() => act.mode("look")}>Leave it</button></div>
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
  return html`<section aria-labelledby="h-amend"><h2 id="h-amend">Corrected labels</h2>
    ${run.amended.length
      ? html`<div class="scroll" tabindex="0" role="group" aria-label="Corrected labels"><table><thead><tr><th scope="col">What</th><th scope="col">Was</th><th scope="col">Is</th><th scope="col">Why, and by whom</th></tr></thead><tbody>${run.amended.map((a) => html`<tr><th scope="row">${lookUp(labels, a.field)}</th><td><s>${a.from || "not noted"}</s></td><td>${a.to}</td><td>${a.reason}<small>${a.by}</small></td></tr>`)}</tbody></table></div>`
      : html`<p class="small">None. A label can be corrected; what happened in the run, never.</p>`}
    ${ui.mode === "amend"
      ? html`<form class="noprint amend" @submit=${sent}>
          <fieldset class="field"><legend>Which label</legend><div class="either slim">${Object.entries(labels).map(([key, word], i) => html`<label class="option"><input type="radio" name="field" value=${key} ?checked=${i === 0}><span>${word}</span></label>`)}</div></fieldset>
          <label class="field"><span>It should say</span><input name="to" type="text" maxlength="120" required autocomplete="off"></label>
          <label class="field"><span>Why <small>stands in the record for ever; no names of others, nothing medical</small></span><input name="reason" type="text" maxlength="400" required autocomplete="off"></label>
          <p class="small">The first value stays visible. Signatures under the record stay with it.</p>
          <div class="row"><button class="primary">Correct it</button><button type="button" @click=${() => act.mode("look")}>Leave it</button></div></form>`
      : html`<div class="row noprint"><button @click=${() => act.mode("amend")}>Correct a label<small>tester, or whose piece</small></button></div>`}
  </section>`;
}

/** @param {Full} full */
function opening(full) {
  if (full.box === undefined) return nothing;
  const poor = full.box.filter((p) => p.state !== "loaded");
  return html`<section aria-labelledby="h-box"><h2 id="h-box">The box at the opening</h2>
    <table><tbody>
      ${full.box.map((p) => html`<tr><th scope="row">${p.name}</th><td><span aria-hidden="true">${p.state === "loaded" ? "●" : p.state === "failed" ? "✕" : "○"} </span>${lookUp(pieces, p.state)}${p.reason ? html`<small>${p.reason}</small>` : nothing}</td></tr>`)}
      <tr><th scope="row">Wires checked</th><td>${full.wiring_checked ? when(full.wiring_checked) : "not since the box was switched on"}</td></tr>
      <tr><th scope="row">Tone to press</th><td>${full.sound_ms ? html`${Math.round(full.sound_ms)} ms<small>a person's reaction is in it</small>` : "not measured"}</td></tr>
      ${full.time_source ? html`<tr><th scope="row">Edges dated by</th><td>${full.time_source}</td></tr>` : nothing}
      ${full.version ? html`<tr><th scope="row">Program</th><td>tallyhood ${full.version}</td></tr>` : nothing}
    </tbody></table>
    ${full.box.length === 0 ? html`<p class="small">This record says nothing of its parts.</p>` : poor.length ? nothing : html`<p class="small">Every part was there.</p>`}</section>`;
}

/** @param {Full} full @param {RecordUi} ui @param {RecordActs} act */
function proof(full, ui, act) {
  if (ui.run === null || full.practice) return nothing;
  const c = ui.claim;
  return html`<section aria-labelledby="h-proof"><h2 id="h-proof">Proof of evidence</h2>
    ${c === null
      ? html`<p class="small">The box can sign what this record says, so that anybody can check it without the box.</p><div class="row noprint"><button @click=${act.prove}>Show the proof</button></div>`
      : html`<h3>It shows</h3><ul class="points">${evidence.shows.map((t) => html`<li>${t}</li>`)}</ul><h3>It does not show</h3><ul class="points">${evidence.not.map((t) => html`<li>${t}</li>`)}</ul>
        <label class="field"><span>What the code says</span><textarea readonly rows="4" spellcheck="false" .value=${c.text}></textarea></label>
        <div class="row noprint"><button @click=${() => act.copy(c.text, "The code's text")}>Copy the text</button>${cardRefused(full, ui.run) || ui.picture ? nothing : html`<button @click=${act.card}>Show the card<small>with the code as a picture</small></button>`}</div>
        ${ui.picture ? html`<img class="card" src=${ui.picture} alt="Wallet card with the code; the text of the code stands above.">` : nothing}
        <p class="small">To check it: <code>tallyhood records check</code>, with the text and the box's public key from Settings. Proof of ${c.proof.length} ${c.proof.length === 1 ? "hash" : "hashes"}.</p>`}
  </section>`;
}

/** @param {string[]} list */
function listed(list) {
  return list.length ? `, ${list.map((x) => lookUp(remarks, x)).join(", ")}` : "";
}

/** @param {{added: number, taken: number}} d */
function corrected(d) {
  return d.added || d.taken ? ` (corrected: ${d.added} added, ${d.taken} taken back)` : "";
}
