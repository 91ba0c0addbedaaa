// SPDX-License-Identifier: Apache-2.0

// The day: who comes, who is where, when the next one can come, how many fit in
// a day, and what is left to do at its end. Pure.

import { html, nothing } from "./vendor/lit-html.js";
import { clockOf, count, firstDue, hours, labelOf, planPips, standing } from "./state-office.js";
import { marks } from "./state.js";
import { filledIn, loading, office, pipSvg, textOf } from "./view-office.js";
import { chores, dueWhys, stages, steps } from "./words-office.js";
import { lookUp, outcomes, stages as stageWords } from "./words.js";

/** @typedef {import("./api.js").Day} Day */
/** @typedef {import("./api.js").Plan} Plan */
/** @typedef {import("./api.js").Expected} Expected */
/**
 * @typedef {object} Ui
 * @property {Day|null} day
 * @property {Plan|null} plan
 * @property {number} people   asked for in the plan
 * @property {number} hoods
 * @property {import("./api.js").Facepiece[]} facepieces
 * @property {string} today
 */
/** @typedef {{reckon: (people: number, hoods: number) => void} & import("./view-office.js").OfficeActs} Acts */

/** @param {import("./office.js").Office} o @param {Ui} ui @param {Acts} act */
export function day(o, ui, act) {
  const page = { here: "/day", title: "Day", cls: "day" };
  const d = ui.day;
  if (d === null) return office(page, o, act, o.problem ? nothing : loading("Reading the day."));
  const under = d.expected.filter((e) => e.state === "in_test");
  const waiting = d.expected.filter((e) => e.state === "waiting" || e.state === "again");
  const done = d.expected.filter((e) => e.state === "done");
  return office({ ...page, say: say(d, under, waiting) }, o, act, html`
    <div class="halves"><section aria-label="Under way"><h2>Under way</h2>${under.length === 0 ? html`<p>Nobody is being tested. <a href="/bench">Open a run on the Bench</a>.</p>` : html`<ul class="lanes">${under.map(lane)}</ul>`}</section>
      <section class="free" aria-label="Next free moment"><p><b>${clockOf(d.next_free) || "?"}</b><span>${d.next_free ? "next free moment" : "next free moment: nobody knows"}</span></p></section></div>
    <section aria-label="Expected"><h2>Expected</h2>${waiting.length === 0
      ? html`<p>Nobody is waiting. <a href="/people">Look who is due next</a>.</p>`
      : html`<ul class="folk">${waiting.map((e) => comes(e, ui))}</ul>`}
      ${d.more ? html`<p>More people are due than stand here: <a href="/people">People</a>.</p>` : nothing}
      <p class="links"><a class="to" href="/api/v1/day/reminders.pdf">Reminders to print<small>water only, shave, bring glasses and helmet</small></a></p></section>
    ${done.length ? html`<section aria-label="Done today"><h2>Done today</h2><ul class="folk">${done.map((e) => html`<li><a class="person" href=${`/people/${encodeURIComponent(e.person)}`}>${pipSvg("given")}<span class="who"><b><bdi>${nameOf(e)}</bdi></b></span><span></span><span class=${`stand outcome ${e.outcome}`}><span aria-hidden="true">${marks[e.outcome] ?? ""}</span> ${lookUp(outcomes, e.outcome)}</span></a></li>`)}</ul></section>` : nothing}
    ${plan(o, ui, act)}
    <section aria-label="At the end of the day"><h2>At the end of the day</h2>${d.end_of_day.length === 0 ? html`<p>Nothing is open now. What today brings will stand here.</p>` : html`<ul class="chores">${d.end_of_day.map((c) => {
        const to = Object.hasOwn(chores, c.what) ? chores[c.what] : undefined;
        return html`<li>${pipSvg("open")}<span><bdi>${to ? to.text(c.name) : `${c.what.replaceAll("_", " ")} ${c.name}`}</bdi></span>${to ? html`<a class="to" href=${to.href(c.id)} aria-label=${`${to.word}: ${to.text(c.name)}`}>${to.word}</a>` : nothing}</li>`;
      })}</ul>`}
      <p class="links"><a class="to" href="/api/v1/day/summary.pdf">Summary for the employer<small>PDF</small></a></p></section>`);
}

/** @param {{name: string, number: string, person: string}} e */
function nameOf(e) {
  return e.name || (e.number ? `no. ${e.number}` : e.person);
}

/** @param {Day} d @param {Expected[]} under @param {Expected[]} waiting */
function say(d, under, waiting) {
  if (d.expected.length === 0) return "Nobody is expected today.";
  const here = under.length === 0 ? "Nobody is under way" : under[0] && under.length === 1 ? `*${nameOf(under[0])}* is under way` : `${under.length} people are under way`;
  const next = waiting[0];
  return next ? `${here}. Next comes *${nameOf(next)}*${waiting.length > 1 ? `, and ${waiting.length - 1} more` : ""}.` : `${here}. Nobody else is expected.`;
}

/** @param {Expected} e @param {Ui} ui */
function comes(e, ui) {
  const due = firstDue(e);
  const s = standing(due?.on ?? "0000-00-00", ui.today);
  const again = e.state === "again";
  return html`<li><a class=${`person is-${s.key}`} href=${`/people/${encodeURIComponent(e.person)}`}>${pipSvg(s.pip)}<span class="who"><b><bdi>${nameOf(e)}</bdi></b><small>${due ? due.label || labelOf(ui.facepieces, due.facepiece) : ""}</small></span>
    <span class="slot">${e.slot_at ? html`<b>${clockOf(e.slot_at)}</b><small>only water from ${clockOf(e.stop_eating)}</small>` : nothing}</span>
    <span class="stand"><strong>${again ? "once more" : due ? s.word : "on the list"}</strong><small>${again ? `${lookUp(outcomes, e.outcome).toLowerCase()} today` : due ? lookUp(dueWhys, due.why) : ""}</small></span></a></li>`;
}

/** A person's way through the visit. @param {Expected} e */
function lane(e) {
  const stage = e.stage === "dosing" || e.stage === "proving_button" || e.stage === "proving_mist" ? "running" : e.stage;
  const at = stages.findIndex(([key]) => key === stage);
  return html`<li aria-label=${nameOf(e)}><span class="who"><b><bdi>${nameOf(e)}</bdi></b><small>${lookUp(stageWords, e.stage)}</small></span>
    <ol class="way" aria-hidden="true">${stages.map(([, word], i) => html`<li class=${i < at ? "step-done" : i === at ? "step-now" : ""}><i></i><span>${word}</span></li>`)}</ol></li>`;
}

/** @param {import("./office.js").Office} o @param {Ui} ui @param {Acts} act */
function plan(o, ui, act) {
  const p = ui.plan;
  const send = (/** @type {Event} */ e) => {
    const f = filledIn(e);
    act.reckon(Number(textOf(f, "people")) || 0, Number(textOf(f, "hoods")) || 1);
  };
  return html`<section class="plan" aria-label="How many fit in a day"><h2>How many fit in a day?</h2>
    <form class="ask-plan" @submit=${send}><label class="field"><span>People to test</span><input name="people" type="number" min="1" max="500" inputmode="numeric" required .value=${String(ui.people)}></label>
      <fieldset class="field"><legend>Hoods in use</legend><div class="either">${[1, 2].map((n) => html`<label class="option"><input type="radio" name="hoods" value=${n} ?checked=${n === ui.hoods}><span>${n === 1 ? "one" : "two"}</span></label>`)}</div></fieldset>
      <button ?disabled=${o.working}>Reckon</button></form>
    ${p === null ? nothing : answer(p, ui.people)}</section>`;
}

/** @param {Plan} p @param {number} people */
function answer(p, people) {
  const d = p.per_day;
  const f = p.finish_s;
  const words = `${d.low} people on a slow day, ${d.median} on a usual one, ${d.high} on a fast one`;
  return html`<div class="answer" role="status"><p class="say">${d.low === d.high ? html`A day of eight hours holds <em>${count(d.median, "person").replace("persons", "people")}</em>.` : html`A usual day of eight hours holds <em>${d.median} people</em>; a slow one ${d.low}, a fast one ${d.high}.`} ${fit(p, people)}</p>
    <div class="heads" role="img" aria-label=${words}>${planPips(p).map((k) => pipSvg(k))}</div>
    ${d.low === d.high ? nothing : html`<p class="key" aria-hidden="true"><span>${pipSvg("given")}on a slow day too</span><span>${pipSvg("half")}on a usual day</span><span>${pipSvg("open")}on a fast day only</span></p>`}
    ${f.median > 0 && f.median <= 86_400 ? html`<p>${people} people take <b>${hours(f.median)} h</b>${f.low === f.high ? "" : `, between ${hours(f.low)} and ${hours(f.high)}`}.</p>` : nothing}
    <p class="facts">${p.steps.map((s) => html`<span>${lookUp({ ...stageWords, ...steps }, s.step)} <b>${span(s.seconds)}</b></span>`)}</p>
    <ul class="points small">${["Slow and fast: five simulated days in a hundred lie below, and above.", `Times: ${p.past > 0 ? `from ${count(p.past, "past run")} and the rules` : "from the rules; where they say none, assumed"}.`, ...p.said].map((x) => html`<li>${x}</li>`)}</ul></div>`;
}

/** Whether so many fit, in words. @param {Plan} p @param {number} people */
function fit(p, people) {
  const d = p.per_day;
  if (d.low >= people) return d.low === d.high ? `All ${people} fit.` : `All ${people} fit, also on a slow day.`;
  if (d.median >= people) return `${people} fit on a usual day, not on a slow one.`;
  if (d.high >= people) return `${people} fit on a fast day only: plan a second one.`;
  return `${people} do not fit: plan ${Math.ceil(people / Math.max(1, d.low))} days.`;
}

/** @param {number} s */
function span(s) {
  return `${Math.floor(s / 60)}:${String(Math.round(s % 60)).padStart(2, "0")}`;
}
