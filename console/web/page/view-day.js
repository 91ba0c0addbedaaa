// SPDX-License-Identifier: Apache-2.0

// The day: who comes, who is where, when the next one can come, how many fit in
// a day, and what is left to do at its end. Pure.

import { html, nothing } from "./vendor/lit-html.js";
import { retold, sentences, t } from "./lang.js";
import { clockOf, firstDue, hours, labelOf, planPips, standing } from "./state-office.js";
import { marks } from "./state.js";
import { filledIn, loading, office, pipSvg, textOf, typedIn } from "./view-office.js";
import { bold, rich } from "./view-words.js";
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
 * @property {string} query    of who is to be put on the list
 * @property {{id: string, called: string, more: string}[]|null} matches  people who may be meant
 */
/** @typedef {{reckon: (people: number, hoods: number) => void, type: (text: string) => void, list: (p: {id: string, called: string}, off: boolean) => void} & import("./view-office.js").OfficeActs} Acts */

/** @param {import("./office.js").Office} o @param {Ui} ui @param {Acts} act */
export function day(o, ui, act) {
  const page = { here: "/day", title: t("office.day.title"), cls: "day" };
  const d = ui.day;
  if (d === null) return office(page, o, act, o.problem ? nothing : loading(t("office.day.reading")));
  const under = d.expected.filter((e) => e.state === "in_test");
  const waiting = d.expected.filter((e) => e.state === "waiting" || e.state === "again");
  const done = d.expected.filter((e) => e.state === "done");
  return office({ ...page, say: say(d, under, waiting) }, o, act, html`
    <div class="halves"><section aria-label=${t("office.day.under_way")}><h2>${t("office.day.under_way")}</h2>${under.length === 0 ? html`<p>${t("office.day.nobody_tested")} <a href="/bench">${t("office.day.open_run")}</a></p>` : html`<ul class="lanes">${under.map(lane)}</ul>`}</section>
      <section class="free" aria-label=${t("office.day.free")}><p><b>${clockOf(d.next_free) || "?"}</b><span>${d.next_free ? t("office.day.next_free") : t("office.day.next_unknown")}</span></p></section></div>
    <section aria-label=${t("office.day.expected")}><h2>${t("office.day.expected")}</h2>${waiting.length === 0
      ? html`<p>${t("office.day.nobody_waiting")} <a href="/people">${t("office.day.who_next")}</a></p>`
      : html`<ul class="folk">${waiting.map((e) => comes(e, o, ui, act))}</ul>`}
      ${d.more ? html`<p>${rich("office.day.more_due", { page: html`<a href="/people">${t("run.nav.people")}</a>` })}</p>` : nothing}
      ${putOn(o, ui, act)}
      <p class="links"><a class="to" href="/api/v1/day/reminders.pdf?lang=own">${t("office.day.reminders")}<small>${t("office.day.reminders_what")}</small></a></p></section>
    ${done.length ? html`<section aria-label=${t("office.day.done")}><h2>${t("office.day.done")}</h2><ul class="folk">${done.map((e) => html`<li><a class="person" href=${`/people/${encodeURIComponent(e.person)}`}>${pipSvg("given")}<span class="who"><b><bdi>${nameOf(e)}</bdi></b></span><span></span><span class=${`stand outcome ${e.outcome}`}><span aria-hidden="true">${marks[e.outcome] ?? ""}</span> ${lookUp(outcomes, e.outcome)}</span></a></li>`)}</ul></section>` : nothing}
    ${plan(o, ui, act)}
    <section aria-label=${t("office.day.end")}><h2>${t("office.day.end")}</h2>${d.end_of_day.length === 0 ? html`<p>${t("office.day.nothing_open")}</p>` : html`<ul class="chores">${d.end_of_day.map((c) => {
        const to = Object.hasOwn(chores, c.what) ? chores[c.what] : undefined;
        return html`<li>${pipSvg("open")}<span><bdi>${to ? to.text(c.name) : `${c.what.replaceAll("_", " ")} ${c.name}`}</bdi></span>${to ? html`<a class="to" href=${to.href(c.id)} aria-label=${`${to.word()}: ${to.text(c.name)}`}>${to.word()}</a>` : nothing}</li>`;
      })}</ul>`}
      <p class="links"><a class="to" href="/api/v1/day/summary.pdf">${t("office.day.summary")}<small>PDF</small></a></p></section>`);
}

/** @param {{name: string, number: string, person: string}} e */
function nameOf(e) {
  return e.name || (e.number ? t("office.number_short", { number: e.number }) : e.person);
}

/** @param {Day} d @param {Expected[]} under @param {Expected[]} waiting */
function say(d, under, waiting) {
  if (d.expected.length === 0) return t("office.day.say.nobody");
  const here = under.length === 0 ? t("office.day.say.none_here") : under[0] && under.length === 1 ? t("office.day.say.one_here", { name: nameOf(under[0]) }) : t("office.day.say.here", { n: under.length });
  const next = waiting[0];
  return `${here} ${next ? (waiting.length > 1 ? t("office.day.say.next_more", { name: nameOf(next), n: waiting.length - 1 }) : t("office.day.say.next", { name: nameOf(next) })) : t("office.day.say.none_next")}`;
}

/** Puts somebody on the list. @param {import("./office.js").Office} o @param {Ui} ui @param {Acts} act */
function putOn(o, ui, act) {
  const here = new Set(ui.day?.expected.filter((e) => e.listed).map((e) => e.person));
  return html`<div class="put-on"><label class="find"><span>${t("office.day.put_on")}</span><input type="search" autocomplete="off" spellcheck="false" .value=${ui.query} @input=${(/** @type {Event} */ e) => act.type(typedIn(e))}></label>
    <div role="status">${ui.matches === null ? nothing : ui.matches.length === 0 ? html`<p>${t("office.people.none_found", { query: ui.query.trim() })} <a href=${`/people/new?name=${encodeURIComponent(ui.query.trim())}`}>${t("office.people.enter_this", { name: ui.query.trim() })}</a></p>` : html`<ul class="folk">${ui.matches.map((m) => html`<li class="with"><span class="who"><b><bdi>${m.called}</bdi></b><small>${m.more}</small></span>${here.has(m.id) ? html`<span>${t("office.day.on_list")}</span>` : html`<button ?disabled=${o.working} @click=${() => act.list(m, false)} aria-label=${t("office.listed.put_who", { name: m.called })}>${t("office.listed.put")}</button>`}</li>`)}</ul>`}</div></div>`;
}

/** @param {Expected} e @param {import("./office.js").Office} o @param {Ui} ui @param {Acts} act */
function comes(e, o, ui, act) {
  const due = firstDue(e);
  const s = standing(due?.on ?? "0000-00-00", ui.today);
  const again = e.state === "again";
  return html`<li class=${e.listed ? "with" : ""}><a class=${`person is-${s.key}`} href=${`/people/${encodeURIComponent(e.person)}`}>${pipSvg(s.pip)}<span class="who"><b><bdi>${nameOf(e)}</bdi></b><small>${due ? due.label || labelOf(ui.facepieces, due.facepiece) : ""}</small></span>
    <span class="slot">${e.slot_at ? html`<b>${clockOf(e.slot_at)}</b><small>${t("office.day.only_water", { time: clockOf(e.stop_eating) })}</small>` : nothing}</span>
    <span class="stand"><strong>${again ? t("office.day.once_more") : due ? s.word : t("office.day.on_list")}</strong><small>${again ? lookUp(sentences("office.day.today"), e.outcome) : due ? lookUp(dueWhys, due.why) : ""}</small></span></a>${e.listed ? html`<button ?disabled=${o.working} @click=${() => act.list({ id: e.person, called: nameOf(e) }, true)} aria-label=${t("office.listed.off_who", { name: nameOf(e) })}>${t("office.listed.off")}</button>` : nothing}</li>`;
}

/** A person's way through the visit. @param {Expected} e */
function lane(e) {
  const stage = e.stage === "dosing" || e.stage === "proving_button" || e.stage === "proving_mist" ? "running" : e.stage;
  const all = stages();
  const at = all.findIndex(([key]) => key === stage);
  return html`<li aria-label=${nameOf(e)}><span class="who"><b><bdi>${nameOf(e)}</bdi></b><small>${lookUp(stageWords, e.stage)}</small></span>
    <ol class="way" aria-hidden="true">${all.map(([, word], i) => html`<li class=${i < at ? "step-done" : i === at ? "step-now" : ""}><i></i><span>${word}</span></li>`)}</ol></li>`;
}

/** @param {import("./office.js").Office} o @param {Ui} ui @param {Acts} act */
function plan(o, ui, act) {
  const p = ui.plan;
  const send = (/** @type {Event} */ e) => {
    const f = filledIn(e);
    act.reckon(Number(textOf(f, "people")) || 0, Number(textOf(f, "hoods")) || 1);
  };
  return html`<section class="plan" aria-label=${t("office.day.fit")}><h2>${t("office.day.fit_question")}</h2>
    <form class="ask-plan" @submit=${send}><label class="field"><span>${t("office.day.people")}</span><input name="people" type="number" min="1" max="500" inputmode="numeric" required .value=${String(ui.people)}></label>
      <fieldset class="field"><legend>${t("office.day.hoods")}</legend><div class="either">${[1, 2].map((n) => html`<label class="option"><input type="radio" name="hoods" value=${n} ?checked=${n === ui.hoods}><span>${n === 1 ? t("office.day.one") : t("office.day.two")}</span></label>`)}</div></fieldset>
      <button ?disabled=${o.working}>${t("office.day.reckon")}</button></form>
    ${p === null ? nothing : answer(p, ui.people)}</section>`;
}

/** @param {Plan} p @param {number} people */
function answer(p, people) {
  const d = p.per_day;
  const f = p.finish_s;
  const words = t("office.day.spread", { n: d.low, median: d.median, high: d.high });
  return html`<div class="answer" role="status"><p class="say">${d.low === d.high ? rich("office.day.holds", { n: d.median }) : rich("office.day.usual_holds", { n: d.median, low: d.low, high: d.high })} ${fit(p, people)}</p>
    <div class="heads" role="img" aria-label=${words}>${planPips(p).map((k) => pipSvg(k))}</div>
    ${d.low === d.high ? nothing : html`<p class="key" aria-hidden="true"><span>${pipSvg("given")}${t("office.day.slow_too")}</span><span>${pipSvg("half")}${t("office.day.usual")}</span><span>${pipSvg("open")}${t("office.day.fast_only")}</span></p>`}
    ${f.median > 0 && f.median <= 86_400 ? html`<p>${f.low === f.high ? rich("office.day.take", { n: people, time: hours(f.median) }, bold) : rich("office.day.take_between", { n: people, time: hours(f.median), low: hours(f.low), high: hours(f.high) }, bold)}</p>` : nothing}
    ${d.low === d.high && f.low === f.high ? nothing : html`<p class="small">${t("office.day.slow_fast")}</p>`}
    <p class="facts">${p.steps.map((s) => html`<span>${lookUp({ ...stageWords, ...steps }, s.step)} <b>${span(s.seconds)}</b></span>`)}</p>
    <ul class="points small">${[p.past > 0 ? t("office.day.times_past", { n: p.past }) : t("office.day.times_rules"), ...p.said.map((x) => retold("office.plan_told", x))].map((x) => html`<li>${x}</li>`)}</ul></div>`;
}

/** Whether so many fit, in words. @param {Plan} p @param {number} people */
function fit(p, people) {
  const d = p.per_day;
  if (d.low >= people) return t(d.low === d.high ? "office.day.all_fit" : "office.day.all_fit_slow", { n: people });
  if (d.median >= people) return t("office.day.fit_usual", { n: people });
  if (d.high >= people) return t("office.day.fit_fast", { n: people });
  return t("office.day.fit_not", { people, n: Math.ceil(people / Math.max(1, d.low)) });
}

/** @param {number} s */
function span(s) {
  return `${Math.floor(s / 60)}:${String(Math.round(s % 60)).padStart(2, "0")}`;
}
