// SPDX-License-Identifier: Apache-2.0

// The Drill page: what a drill is asked with, the sheet of one with what was
// hidden, scores over time and agreement with trainers. Pure; it scores nothing.

import { html, nothing } from "./vendor/lit-html.js";
import { stripSvg } from "./draw.js";
import { figure, has, retold, t } from "./lang.js";
import { allOutcomes, clock, curveSays, curveShapes, didSays, fitSays, historyShapes, kappaSays, outcomeSays, stripOf, when } from "./state-drill.js";
import { wide } from "./strip.js";
import { sentence } from "./view-common.js";
import { drawing, either, field, filledIn, loading, office, textOf, typedIn } from "./view-office.js";
import { agents, lookUp, reasons, ruleName } from "./words.js";

/** @typedef {import("./state-drill.js").Sheet} Sheet */
/**
 * @typedef {object} Form
 * @property {string} trainee
 * @property {string} level
 * @property {"surprise"|"none"|"own"} wrong
 * @property {string[]} troubles
 * @property {string} facepiece
 * @property {string} rules
 * @property {string} agent
 * @property {string} seed  empty: a new one is made
 */
/**
 * @typedef {object} Ui
 * @property {import("./state-drill.js").Offer|null} offer
 * @property {import("./contract.js").Choices|null} choices
 * @property {Form} form
 * @property {"waiting"|"run"|"driven"|"ready"|"opening"} link  of this page with the box
 * @property {string} said      answer to the last command, in words
 * @property {import("./state-drill.js").List|null} list
 * @property {string} whose     scores of whom; empty: everybody
 * @property {import("./state-drill.js").Agreement[]|null} agreements
 * @property {string} run       the drill whose sheet is shown; empty: none
 * @property {import("./state-drill.js").Page|null} page
 */
/**
 * @typedef {import("./view-office.js").OfficeActs & {form: (f: Partial<Form>) => void, open: () => void, takeOver: () => void, whose: (name: string) => void, print: () => void, again: (s: Sheet) => void,
 *   judge: (outcome: string, acts: {n: number, acts: boolean}[], note: string) => unknown}} Acts
 */

/** The strip's frame without names under it, for the curve over the same time. */
const frame = { ...wide, height: 190, names: false };

/** @param {import("./view-office.js").Office} o @param {Ui} ui @param {Acts} act */
export function drill(o, ui, act) {
  const banner = html`<p class="practice"><strong>${t("run.practice")}</strong> <span>${t("drill.never")}</span></p>`;
  if (ui.run !== "") {
    return office({ here: "/drill", title: t("drill.sheet_title"), cls: "drill-sheet", own: true }, o, act, html`${banner}
      ${ui.page ? sheet(ui.page, o, act) : o.problem ? nothing : loading(t("drill.loading_sheet"))}
      <p class="foot-links"><a class="to" href="/drill">${t("drill.back")}</a></p>`);
  }
  return office({ here: "/drill", title: t("drill.title"), cls: "drills", say: t("drill.say"), own: true }, o, act, html`${banner}
    <div class="two drill-two">${ui.offer ? form(ui, act) : loading(t("drill.loading"))}${cautions()}</div>
    ${ui.list ? history(ui.list, ui.whose, act) : nothing}
    ${ui.agreements ? agreement(ui.agreements) : nothing}
    ${ui.offer ? standsOn(ui.offer) : nothing}`);
}

function cautions() {
  return html`<section class="drill-cautions"><h2>${t("drill.cautions")}</h2><ul class="points">${["solution", "person", "breathing", "competent"].map((k) => html`<li>${t(`drill.caution.${k}`)}</li>`)}</ul></section>`;
}

/** @param {Ui} ui @param {Acts} act */
function form(ui, act) {
  const f = ui.form;
  const offer = ui.offer ?? { levels: [], troubles: [], assumptions: [], weights: [] };
  const nobody = f.trainee.trim() === "";
  const blocked = { waiting: t("drill.no_link"), run: t("drill.run_open"), driven: t("drill.driven"), ready: "", opening: t("drill.opening") }[ui.link]
    || (nobody ? t("drill.who_first") : f.wrong === "own" && f.troubles.length === 0 ? t("drill.choose_some") : "");
  /** @param {string} name @param {string} label @param {string} value @param {{id: string, label: string}[]} options @param {string} none */
  const choose = (name, label, value, options, none) => html`<label class="field"><span>${label}</span><select name=${name} @change=${(/** @type {Event} */ e) => act.form({ [name]: typedIn(e) })}>
    ${none ? html`<option value="" ?selected=${value === ""}>${none}</option>` : nothing}${options.map((x) => html`<option value=${x.id} ?selected=${x.id === value}>${x.label}</option>`)}</select></label>`;
  return html`<section><h2>${t("drill.form")}</h2>
    <form class="sheet-form drill-form" @submit=${(/** @type {Event} */ e) => { e.preventDefault(); if (!blocked) act.open(); }}>
      <label class="field wide"><span>${t("drill.trainee")}</span><input name="trainee" maxlength="100" autocomplete="off" spellcheck="false" .value=${f.trainee} @input=${(/** @type {Event} */ e) => act.form({ trainee: typedIn(e) })}></label>
      <fieldset class="field"><legend>${t("drill.level")}</legend><div class="either">${offer.levels.map((l) => html`<label class="option"><input type="radio" name="level" value=${l.key} ?checked=${l.key === f.level} @change=${() => act.form({ level: l.key })}><span><b>${t(`drill.level.${l.key}`)}</b><small>${t(`drill.level_about.${l.key}`)}</small></span></label>`)}</div></fieldset>
      <fieldset class="field"><legend>${t("drill.goes_wrong")}</legend><div class="either">${/** @type {const} */ (["surprise", "none", "own"]).map((w) => html`<label class="option"><input type="radio" name="wrong" value=${w} ?checked=${w === f.wrong} @change=${() => act.form({ wrong: w })}><span>${t(`drill.wrong.${w}`)}</span></label>`)}</div>
        ${f.wrong === "own" ? html`<div class="either drill-troubles">${offer.troubles.map((x) => html`<label class="option"><input type="checkbox" name="trouble" value=${x.key} .checked=${f.troubles.includes(x.key)} @change=${(/** @type {Event} */ e) => act.form({ troubles: /** @type {HTMLInputElement} */ (e.target).checked ? [...f.troubles, x.key] : f.troubles.filter((k) => k !== x.key) })}><span>${t(`drill.trouble.${x.key}`)}</span></label>`)}</div>` : nothing}</fieldset>
      ${choose("rules", t("drill.rules"), f.rules, (ui.choices?.rules ?? []).map((r) => ({ ...r, label: ruleName(r.label) })), "")}
      ${choose("agent", t("drill.agent"), f.agent, (ui.choices?.agents ?? []).map((id) => ({ id, label: lookUp(agents, id) })), "")}
      ${choose("facepiece", t("drill.facepiece"), f.facepiece, (ui.choices?.facepieces ?? []).filter((x) => !x.refused?.[f.rules]), t("drill.facepiece_any"))}
      <div class="wide links"><button class="primary" type="submit" ?disabled=${blocked !== ""}>${t("drill.open")}<small>${f.seed ? t("drill.truth.seed", { seed: f.seed }) : t("drill.open_about")}</small></button>
        ${ui.link === "driven" ? html`<button type="button" @click=${act.takeOver}>${t("drill.take_over")}</button>` : nothing}
        <span role="status">${ui.said || blocked}</span></div>
    </form></section>`;
}

/** @param {import("./state-drill.js").Page} page @param {import("./view-office.js").Office} o @param {Acts} act */
function sheet({ sheet: s, judged }, o, act) {
  const open = s.unscored === "open";
  return html`
    <section class="drill-score"><div>
        ${s.scored ? html`<p class="points-big"><b>${s.points}</b><span>${t("drill.points", { n: s.points }).replace(String(s.points), "").trim()}</span></p>` : html`<p class="points-big"><b>–</b><span>${t("drill.unscored")}</span></p>`}
      </div><div class="drill-told">
        <p class="facts"><b>${s.trainee}</b><span>${when(s.opened)}</span><span>${t(`drill.level.${s.ask.level}`)}</span><span>${ruleName(s.rules)}, ${lookUp(agents, s.agent)}</span><span>${t("drill.truth.seed", { seed: s.ask.seed })}</span></p>
        ${s.scored ? nothing : html`<p>${t(`drill.unscored.${s.unscored}`)}</p>`}
        ${open ? nothing : html`<p class="says">${t("drill.ended_as", { outcome: outcomeSays(s.outcome) })}${s.reason ? html` · ${lookUp(reasons, s.reason)}` : nothing}</p>
          ${s.right && s.right !== s.outcome ? html`<p class="says"><b>${t("drill.should", { outcome: outcomeSays(s.right) })}</b></p>` : nothing}
          ${s.against === "agrees" && s.right !== s.outcome ? nothing : html`<p>${t(`drill.against.${s.against}`)}</p>`}
          <p class="links no-print"><button type="button" @click=${act.print}>${t("drill.print")}<small>${t("drill.print_about")}</small></button><button type="button" @click=${() => act.again(s)}>${t("drill.truth.again")}<small>${t("drill.truth.seed", { seed: s.ask.seed })}</small></button></p>`}
      </div></section>
    ${s.scored ? lost(s) : nothing}
    ${open ? nothing : html`${came(s)}${s.truth ? hidden(s, s.truth) : nothing}${rhythm(s)}${judge(s, judged, o, act)}`}`;
}

/** @param {Sheet} s */
function lost(s) {
  if (s.items.length === 0) return html`<section><h2>${t("drill.lost")}</h2><p class="says">${sentence(t("drill.full"))}</p></section>`;
  return html`<section><h2>${t("drill.lost")}</h2><ol class="lost">${s.items.map((i) => html`<li><b class="minus">−${i.points}</b><div>
      <h3>${t(`drill.item.${i.key}`)}${i.about ? html` <span>· ${t(`drill.trouble.${i.about}`)}</span>` : nothing}${i.times > 1 ? html` <span>· ${t("drill.times", { n: i.times })}</span>` : nothing}</h3>
      <p>${t(`drill.improve.${i.key}`)}</p><p class="rule">${t("drill.stands_on")}: ${ruled(i.rule)}</p></div></li>`)}</ol></section>`;
}

/** @param {Sheet} s */
function came(s) {
  return html`<section><h2>${t("drill.came")}</h2>${s.reactions.length === 0
    ? html`<p>${t("drill.came_none")}</p>`
    : html`<div class="scroll" tabindex="0" role="region" aria-label=${t("drill.came")}><table class="numbers"><thead><tr><th scope="col">${t("drill.came_at")}</th><th scope="col">${t("drill.came_what")}</th><th scope="col">${t("drill.came_right")}</th><th scope="col">${t("drill.came_did")}</th></tr></thead>
      <tbody>${s.reactions.map((r) => html`<tr><td>${clock(r.at_s)}</td><th scope="row">${t(`drill.trouble.${r.trouble}`)}</th><td>${t(`drill.right.${r.trouble}`)}${r.by_s > 0 ? html`<small>${t("drill.within", { s: figure(r.by_s) })}</small>` : nothing}</td><td><b>${didSays(r)}</b></td></tr>`)}</tbody></table></div>`}</section>`;
}

/** @param {Sheet} s @param {import("./state-drill.js").Truth} truth */
function hidden(s, truth) {
  const mark = { pass: "✓", fail: "✕", not_valid: "⊘", cannot_taste: "–" }[s.outcome] ?? "";
  return html`<section class="drill-truth"><h2>${t("drill.truth")}</h2>
    <p class="says">${sentence(fitSays(truth))}</p>
    <p>${truth.squeezes > 0 ? t("drill.truth.tastes", { name: truth.name, n: truth.squeezes }) : t("drill.truth.no_taste", { name: truth.name })} ${s.bin > 0 ? t("drill.truth.clear", { s: figure(truth.clear_s, 0) }) : nothing}</p>
    ${s.curve.length === 0
      ? html`<p>${t("drill.curve.none")}</p>`
      : html`<div class="scroll drill-strips" tabindex="0" role="region" aria-label=${t("drill.curve")}><div>${drawing(curveShapes(s, frame), frame.width, frame.height, t("drill.curve.label", { told: curveSays(s) }))}${stripSvg(stripOf(s, mark), wide, t("drill.strip"))}</div></div>
        <p class="note">${curveSays(s)} ${t("drill.curve.about")}</p>`}</section>`;
}

/** @param {Sheet} s */
function rhythm({ rhythm: r }) {
  if (r.required === 0) return nothing;
  const s = (/** @type {number|null} */ v) => (v === null ? t("drill.none") : t("drill.seconds", { s: figure(v, 1) }));
  /** @type {[string, string][]} */
  const rows = [
    [t("drill.rhythm.given"), t("drill.rhythm.given_of", { given: figure(r.given), required: figure(r.required), extra: figure(r.extra) })],
    [t("drill.rhythm.mid"), s(r.late_mid_s)], [t("drill.rhythm.worst"), s(r.late_worst_s)], [t("drill.rhythm.cadence"), s(r.cadence_s)],
    [t("drill.rhythm.hurried"), r.hurried === null ? t("drill.none") : `${figure(100 * r.hurried, 0, 1)} %`],
  ];
  return html`<section><h2>${t("drill.rhythm")}</h2><dl class="rhythm">${rows.map(([name, value]) => html`<div><dt>${name}</dt><dd>${value}</dd></div>`)}</dl></section>`;
}

/** @param {Sheet} s @param {import("./state-drill.js").Judged[]} judged @param {import("./view-office.js").Office} o @param {Acts} act */
function judge(s, judged, o, act) {
  const save = (/** @type {Event} */ e) => {
    const f = filledIn(e);
    const acts = s.reactions.flatMap((r) => (textOf(f, `acts-${r.n}`) === "" ? [] : [{ n: r.n, acts: textOf(f, `acts-${r.n}`) === "yes" }]));
    act.judge(textOf(f, "outcome"), acts, textOf(f, "note"));
  };
  return html`<section class="drill-judge"><h2>${t("drill.judge")}</h2>
    ${judged.map((j) => html`<p class="says">${t("drill.judge.said", { trainer: j.trainer, outcome: outcomeSays(j.outcome) })}${j.note ? html` <small>${j.note}</small>` : nothing}</p>`)}
    <form class="sheet-form no-print" @submit=${save}><p class="wide">${t("drill.judge.about")}</p>
      ${either("outcome", t("drill.judge.outcome"), "", allOutcomes.map((k) => [k, outcomeSays(k)]))}
      ${s.reactions.length ? html`<fieldset class="field"><legend>${t("drill.judge.acts")}</legend>${s.reactions.map((r) => html`<div class="judged-one"><span id=${`acts-of-${r.n}`}>${clock(r.at_s)} · ${t(`drill.trouble.${r.trouble}`)}</span><div class="either slim" role="radiogroup" aria-labelledby=${`acts-of-${r.n}`}>${["yes", "no"].map((v) => html`<label class="option"><input type="radio" name=${`acts-${r.n}`} value=${v}><span>${t(`drill.judge.${v}`)}</span></label>`)}</div></div>`)}</fieldset>` : nothing}
      ${field("note", t("drill.judge.note"), "", { most: 400, wide: true })}
      <div class="wide"><button type="submit" ?disabled=${o.working}>${t("drill.judge.save")}</button></div></form></section>`;
}

/** @param {import("./state-drill.js").List} list @param {string} whose @param {Acts} act */
function history(list, whose, act) {
  const c = historyShapes(list.drills);
  return html`<section class="drill-history"><h2>${t("drill.history")}</h2>${list.drills.length === 0 && whose === ""
    ? html`<p>${t("drill.history.none")}</p>`
    : html`<label class="field whose"><span>${t("drill.history.whose")}</span><select @change=${(/** @type {Event} */ e) => act.whose(typedIn(e))}><option value="" ?selected=${whose === ""}>${t("drill.history.all")}</option>${list.trainees.map((n) => html`<option value=${n} ?selected=${n === whose}>${n}</option>`)}</select></label>
      ${c.n > 0 ? html`<div class="scroll" tabindex="0" role="region" aria-label=${t("drill.history.label", { n: c.n })}>${drawing(c.shapes, c.width, c.height, t("drill.history.label", { n: c.n }), "drill-chart")}</div>` : nothing}
      <div class="scroll" tabindex="0" role="region" aria-label=${t("drill.history")}><table class="numbers"><thead><tr>${["when", "who", "level", "points", "ended"].map((k) => html`<th scope="col" class=${k === "points" ? "right" : ""}>${t(`drill.history.${k}`)}</th>`)}</tr></thead>
        <tbody>${list.drills.map((l) => html`<tr><td><a href=${`/drill?run=${l.run}`} aria-label=${t("drill.open_sheet", { when: when(l.opened) })}>${when(l.opened)}</a></td><th scope="row">${l.trainee}</th><td>${t(`drill.level.${l.level}`)}</td>
          <td class="right">${l.scored ? html`<b>${l.points}</b>` : html`<small>${t("drill.history.unscored")}</small>`}</td><td>${outcomeSays(l.outcome) || "–"}${l.troubles.length ? html`<small>${l.troubles.map((k) => t(`drill.trouble.${k}`)).join(" · ")}</small>` : nothing}</td></tr>`)}</tbody></table></div>
      ${list.more ? html`<p>${t("drill.history.more")}</p>` : nothing}`}</section>`;
}

/** @param {import("./state-drill.js").Agreement[]} all */
function agreement(all) {
  return html`<section><h2>${t("drill.agreement")}</h2>${all.length === 0
    ? html`<p>${t("drill.agreement.none")}</p>`
    : html`<p>${t("drill.agreement.about")}</p><div class="scroll" tabindex="0" role="region" aria-label=${t("drill.agreement")}><table class="numbers"><thead><tr><th scope="col">${t("drill.history.who")}</th><th scope="col">${t("drill.agreement.verdicts")}</th><th scope="col">${t("drill.agreement.reactions")}</th></tr></thead>
      <tbody>${all.map((a) => html`<tr><th scope="row">${a.trainee}<small>${t("drill.agreement.drills", { n: a.drills })}</small></th><td>${kappaSays(a.verdicts)}</td><td>${kappaSays(a.reactions)}</td></tr>`)}</tbody></table></div>`}</section>`;
}

/** Where a rule stands, part by part. @param {string} rule */
const ruled = (rule) => retold("drill.ruled", rule);

/** A sentence of the box by its key; as the box has it where no phrase does. @param {string} of @param {string} key @param {string} text */
const saysOf = (of, key, text) => (has(`drill.${of}.${key}`) ? t(`drill.${of}.${key}`) : text);

/** @param {import("./state-drill.js").Offer} offer */
function standsOn(offer) {
  return html`<details class="stands"><summary>${t("drill.assumptions")}</summary><p>${t("drill.assumptions.about")}</p><dl class="assumed">${offer.assumptions.map((a) => html`<div><dt>${t(`drill.assumed.${a.key}`)}</dt><dd>${saysOf("assumes", a.key, a.says)}${a.source ? html` <small>${a.source}</small>` : nothing}</dd></div>`)}</dl></details>
    <details class="stands"><summary>${t("drill.weights")}</summary><dl class="assumed">${offer.weights.map((w) => html`<div><dt>${t(`drill.item.${w.key}`)}<small>${t("drill.weights.each", { n: w.points, most: w.most })}</small></dt><dd>${saysOf("costs", w.key, w.why)} <small>${ruled(w.rule)}</small></dd></div>`)}</dl></details>`;
}
