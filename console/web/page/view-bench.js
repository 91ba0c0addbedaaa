// SPDX-License-Identifier: Apache-2.0

// The Bench: where the tester stands. Pure: a screen from what is shown.

import { html, nothing } from "./vendor/lit-html.js";
import { stripSvg } from "./draw.js";
import { listOf, t } from "./lang.js";
import { around, ofRun, wide } from "./strip.js";
import { minutes } from "./state.js";
import { clockShown } from "./state-inputs.js";
import { identity, mistaken, pairing, simulated, telling, waitingRuns } from "./view-aside.js";
import { clockForm } from "./view-clock.js";
import { healthLine, nav, practice, problemLine, sentence } from "./view-common.js";
import { simContacts } from "./view-contacts.js";
import { goOn, heard, key, stop } from "./view-controls.js";
import { distance } from "./view-distance.js";
import { shortcuts } from "./view-help.js";
import { agents, corrections, lacking, lookUp, pieceName, prevails, questions, roles, ruleName, ruleRefusal, stages } from "./words.js";

/** @typedef {import("./contract.js").Snapshot} Snapshot */
/** @typedef {import("./contract.js").Run} Run */
/** @typedef {import("./state.js").Shown} Shown */
/** @typedef {"wide"|"low"|"narrow"} Size */
/**
 * @typedef {object} Own
 * @property {Size} size
 * @property {"none"|"count"|"keys"} panel
 * @property {boolean} holding    abandon is being held
 * @property {boolean} far        the distance view fills the screen
 * @property {boolean} slow       a command has had no answer for over a second
 * @property {import("./contract.js").Choices|null} choices
 * @property {import("./contract.js").Open} form
 * @property {import("./state-inputs.js").Edit} clock  the clock's form, when a person changed it
 * @property {{run: string, min: number}|null} water  since how long nothing but water, as it was said on this page for a run
 */
/** @typedef {Own & import("./driver.js").Driven} Ui */
/**
 * @typedef {object} Acts
 * @property {(verb: string, input?: Omit<import("./contract.js").Input, "do">) => void} verb
 * @property {(min: number) => void} water
 * @property {() => void} open
 * @property {() => void} prove
 * @property {() => void} close
 * @property {() => void} takeOver
 * @property {() => void} park
 * @property {(run: string) => void} takeUp  a run that waits; the one on the screen is set aside first
 * @property {(far: boolean) => void} far
 * @property {(name: keyof import("./contract.js").Open, value: string) => void} choose
 * @property {(panel: Ui["panel"]) => void} panel
 * @property {(down: boolean) => void} hold
 * @property {(line: string, closed: boolean) => void} contact
 * @property {import("./view-clock.js").ClockActs} clock
 */

/**
 * @param {Snapshot|null} snap
 * @param {Shown|null} s
 * @param {number} ageMs of the snapshot
 * @param {Ui} ui
 * @param {Acts} act
 */
export function bench(snap, s, ageMs, ui, act) {
  if (snap === null || s === null) {
    return html`<main class="sheet plain"><h1>${t("bench.title")}</h1>${problemLine(ui.problem)}<p class="say" aria-live="polite">${t("bench.looking")}</p></main>`;
  }
  const run = snap.run;
  const inert = s.stale || ui.asleep || !s.driving;
  if (run !== null && ui.far) return distance(snap, run, s, inert, banner(s, ui, act), act);
  return html`<main class=${`sheet bench at-${s.stage} ${s.stale ? "stale" : ""} ${ui.sim ? "with-sim" : ""} ${ui.panel !== "none" ? "with-panel" : ""}`} tabindex="-1">
    <div class="top">${practice(snap.practice || run?.practice)}${ui.sim ? simContacts(ui, inert, act.contact) : nothing}</div>
    ${head(snap, s)}
    ${banner(s, ui, act)}
    ${run !== null && s.wrongPerson ? mistaken(run, inert, act) : nothing}
    <p class="say">${sentence(s.sentence)}</p>
    ${heard(s)}
    ${run === null ? nothing : telling(run, s)}
    ${run?.drill ? simulated(run.drill) : nothing}
    ${waitingRuns(s, run !== null, inert, act)}
    ${run === null ? opening(snap, ageMs, ui, inert, act) : body(run, s, ui, inert, act)}
    ${ui.panel === "keys" ? keys(ui, act) : nothing}
  </main>`;
}

/** @param {Snapshot} snap @param {Shown} s */
function head(snap, s) {
  const run = snap.run;
  return html`<header class="head">
    ${run === null
      ? html`<h1>${t("bench.title")}</h1>${nav("/bench")}`
      : html`<h1 class="quiet">${t("bench.title")}</h1><b>${run.wearer}</b><span class="about"><span>${pieceName(run.facepiece)}</span><span>${
          run.screening.bin ? t("bench.bin", { agent: lookUp(agents, run.agent), bin: run.screening.bin }) : lookUp(agents, run.agent)
        }</span><span>${ruleName(run.rules)}</span>${s.code && run.stage !== "ready" ? html`<span>${t("bench.pairing_short", { code: s.code })}</span>` : nothing}<span class="stage">${lookUp(stages, run.stage)}</span></span>`}
    ${healthLine(s.health)}
  </header>`;
}

/** @param {Shown} s @param {Ui} ui @param {Acts} act */
function banner(s, ui, act) {
  return html`<div class="lines">
    ${problemLine(ui.problem)}
    ${s.stale
      ? html`<p class="notice"><strong role="status">${t("bench.stale")}</strong> ${t("bench.stale_age", { age: s.age })}</p>`
      : ui.asleep
        ? html`<p class="notice" role="status"><strong>${t("bench.back")}</strong> ${t("bench.wake")}</p>`
        : s.driving
          ? nothing
          : html`<p class="notice" role="status"><strong>${t("bench.watching")}</strong> ${t(s.driven ? "bench.driven" : "bench.undriven")} <button @click=${act.takeOver}>${t("bench.take_over")}</button></p>`}
    ${ui.said ? html`<p class="note" role="status">${ui.said}</p>` : ui.slow ? html`<p class="note" role="status">${t("bench.slow")}</p>` : s.note ? html`<p class="note" role="status">${s.note}</p>` : nothing}
  </div>`;
}

/** @param {Snapshot} snap @param {number} ageMs @param {Ui} ui @param {boolean} inert @param {Acts} act */
function opening(snap, ageMs, ui, inert, act) {
  const clock = clockShown(snap, ageMs);
  const lacks = lacking(snap.inputs.missing ?? "");
  return html`
    ${lacks ? html`<p class="refused" role="alert"><span aria-hidden="true">⊘ </span>${lacks}. <a href="/inputs">${t("bench.inputs")}</a>: ${t("bench.missing_more")}</p>` : nothing}
    ${clock.unset ? html`<section class="unset" aria-label=${t("bench.clock")}>${clockForm(clock, ui.clock, inert, act.clock)}</section>` : nothing}
    ${choosing(ui, inert, lacks !== "" || clock.unset, act)}`;
}

/** @param {Ui} ui @param {boolean} inert @param {boolean} barred @param {Acts} act */
function choosing(ui, inert, barred, act) {
  const c = ui.choices;
  if (c === null) return html`<p>${t("bench.lists")}</p>`;
  const lacking = c.people.length === 0 ? "bench.nobody" : c.facepieces.length === 0 ? "bench.no_facepiece" : "";
  const f = ui.form;
  const piece = c.facepieces.find((p) => p.id === f.facepiece);
  const refused = piece?.refused?.[f.rules] ?? "";
  const known = (/** @type {{id: string}[]} */ of, /** @type {unknown} */ id) => of.some((o) => o.id === id);
  // A choice may be gone from the box since it was made.
  const ready = known(c.people, f.wearer) && piece && known(c.rules, f.rules) && c.agents.includes(f.agent) && f.tester.trim() && !refused && !barred;
  const pick = (/** @type {keyof import("./contract.js").Open} */ name) => (/** @type {Event} */ e) => act.choose(name, /** @type {HTMLSelectElement} */ (e.target).value);
  const list = (/** @type {keyof import("./contract.js").Open} */ name, /** @type {string} */ label, /** @type {{id: string, label: string}[]} */ of, /** @type {string[]} */ first = []) => {
    const lines = (/** @type {{id: string, label: string}[]} */ some) => some.map((o) => html`<option value=${o.id} ?selected=${o.id === f[name]}>${o.label}</option>`);
    const theirs = of.filter((o) => first.includes(o.id));
    return html`<label class="field"><span>${label}</span>
    <select .value=${known(of, f[name]) ? String(f[name]) : ""} @change=${pick(name)} ?disabled=${inert}><option value="" ?selected=${!known(of, f[name])}>${t("bench.choose")}</option>${
      theirs.length ? html`<optgroup label=${t("bench.theirs")}>${lines(theirs)}</optgroup><optgroup label=${t("bench.others")}>${lines(of.filter((o) => !first.includes(o.id)))}</optgroup>` : lines(of)
    }</select></label>`;
  };
  const either = (/** @type {keyof import("./contract.js").Open} */ name, /** @type {string} */ label, /** @type {{id: string, label: string}[]} */ of) => html`<fieldset class="field"><legend>${label}</legend><div class="either">${of.map(
    (o) => html`<label class="option"><input type="radio" name=${name} value=${o.id} .checked=${f[name] === o.id} @change=${pick(name)} ?disabled=${inert}><span>${o.label}</span></label>`,
  )}</div></fieldset>`;
  const person = c.people.find((p) => p.id === f.wearer);
  const needs = person?.facepieces ?? [];
  const pieces = c.facepieces.map((p) => ({ id: p.id, label: p.refused?.[f.rules] ? t("bench.not_by_rule", { facepiece: p.label }) : p.label }));
  /** @type {[unknown, string][]} */
  const has = [[known(c.people, f.wearer), "bench.person"], [piece, "bench.facepiece"], [known(c.rules, f.rules), "bench.rules"], [c.agents.includes(f.agent), "bench.agent"], [f.tester.trim(), "bench.tester"]];
  const missing = has.filter(([there]) => !there).map(([, name]) => t(name));
  return html`<form class="opening" @submit=${(/** @type {Event} */ e) => {
    e.preventDefault();
    if (ready && !inert) act.open();
  }}>
    ${lacking ? html`<p class="refused">${t(lacking)} <a href="/start">${t("bench.first_run")}</a></p>` : nothing}
    ${list("wearer", t("bench.person"), c.people)}
    ${list("facepiece", t("bench.facepiece"), pieces, needs)}
    ${refused ? html`<p class="refused" role="alert"><span aria-hidden="true">⊘ </span>${ruleRefusal(refused)}</p>` : nothing}
    ${person?.uncleared ? html`<p class="refused" role="status">${t("bench.uncleared", { name: person.label })}</p>` : nothing}
    ${hoodOf(c.hoods, f.hood ?? "", inert, pick("hood"))}
    ${either("rules", t("bench.rules"), c.rules.map((r) => ({ ...r, label: ruleName(r.label) })))}
    ${either("agent", t("bench.agent"), c.agents.map((a) => ({ id: a, label: lookUp(agents, a) })))}
    <label class="field"><span>${t("bench.tester")}</span>
      <input name="tester" list="testers" autocomplete="off" maxlength="100" .value=${f.tester} @input=${(/** @type {Event} */ e) => act.choose("tester", /** @type {HTMLInputElement} */ (e.target).value)} ?disabled=${inert}>
      <datalist id="testers">${c.testers.map((t) => html`<option value=${t}></option>`)}</datalist></label>
    <div class="send"><button type="submit" class="primary" ?disabled=${inert || !ready}>${t("bench.open")}${missing.length ? html`<small>${t("bench.open_missing", { what: listOf(missing) })}</small>` : nothing}</button></div>
  </form>`;
}

/**
 * The hood may be named, so that the record says how far the mist was spread.
 * @param {import("./contract.js").Hood[]} hoods @param {string} chosen @param {boolean} inert @param {(e: Event) => void} pick
 */
function hoodOf(hoods, chosen, inert, pick) {
  if (hoods.length === 0) return nothing;
  const large = hoods.some((h) => h.id === chosen && h.oversized);
  return html`<label class="field"><span>${t("bench.hood")}</span>
    <select name="hood" .value=${chosen} @change=${pick} ?disabled=${inert} aria-describedby=${large ? "d-hood" : nothing}><option value="" ?selected=${chosen === ""}>${t("bench.hood_none")}</option>${hoods.map(
      (h) => html`<option value=${h.id} ?selected=${h.id === chosen}>${t(h.across_mm && h.tall_mm ? "bench.hood_size" : "bench.hood_unmeasured", { mark: h.mark, across: h.across_mm, tall: h.tall_mm })}</option>`,
    )}</select></label>
    ${large ? html`<p class="refused" id="d-hood" role="status">${t("bench.hood_large")}</p>` : nothing}`;
}

/** @param {Run} run @param {Shown} s @param {Ui} ui @param {boolean} inert @param {Acts} act */
function body(run, s, ui, inert, act) {
  return html`
    ${s.faults.length && s.stage !== "running" ? html`<p class="faults">${t("bench.faults", { faults: s.faults.join("; ") })}</p>` : nothing}
    ${run.kit ? nebuliser(run.kit, run.run, inert, act) : nothing}
    ${run.stage === "ready" ? asked(run, s, ui, inert, act) : now(run, s)}
    ${run.name_said === "" && run.wearer !== "" && (run.stage === "clearing" || run.stage === "donning") ? html`<section class="asked named" aria-label=${t("bench.name_again")}>${identity(run, inert, act)}</section>` : nothing}
    ${dosed(run) ? picture(run, s, ui) : nothing}
    ${ui.panel === "count" ? correcting(run, s, inert, act) : foot(run, s, ui, inert, act)}`;
}

/** Whether there is a fit test to draw: one that is coming or one that was begun. @param {Run} run */
const dosed = (run) => run.stage !== "ready" && run.stage !== "screening" && (run.stage !== "over" || run.initial !== null);

/** @param {Run} run @param {Shown} s @param {Ui} ui */
function picture(run, s, ui) {
  const strip = ofRun(run, s.clockMs, s.big.mark);
  const frame = ui.size === "narrow" ? around(strip, 366, 190) : ui.size === "low" ? { ...wide, width: 1180, height: 168, times: false } : wide;
  return html`<section class="strip" aria-label=${t("bench.strip")}>${stripSvg(strip, frame, t("bench.strip_label"))}</section>`;
}

/** @param {Run} run @param {Shown} s */
function now(run, s) {
  if (s.verdict) return verdict(run, s, s.verdict);
  return html`<section class="now" aria-label=${t("bench.now")}>
    <div class=${`big ${s.big.kind}`}><span>${s.big.text}</span><small>${s.big.label}</small></div>
    <div class="due">${s.title ? html`<h2>${s.title}</h2>` : nothing}${pips(s)}<p>${s.detail}</p></div>
    ${s.exercise ? html`<div class="exercise"><h2>${s.exercise.name}</h2><div class="left">${s.exercise.left}</div><p class="care">${s.exercise.care}</p><p>${s.exercise.after}</p></div>` : nothing}
  </section>`;
}

/** @param {Shown} s */
function pips(s) {
  if (s.pips.length === 0) return nothing;
  const given = s.pips.filter((p) => p.kind === "given").length;
  const due = s.pips.filter((p) => p.kind !== "extra").length;
  return html`<div class=${`pips of-${due}`} role="img" aria-label=${t("bench.pips", { given, due })}>${s.pips.map((p) => html`<i class=${`pip ${p.kind}`}></i>`)}</div>`;
}

/** @param {Run} run @param {Shown} s @param {NonNullable<Shown["verdict"]>} v */
function verdict(run, s, v) {
  return html`<section class="now ended" aria-label=${t("bench.verdict")}>
    <div class=${`big word ${v.word.length > 10 ? "long" : ""} ${s.big.stop ? "failed" : ""}`}><span><i aria-hidden="true">${s.big.mark}</i> ${v.word}</span></div>
    <div class="due">
      ${v.reason ? html`<p class="reason">${v.reason}</p>` : nothing}
      ${v.proof ? html`<p>${v.proof}</p>` : nothing}
      ${v.next ? html`<p>${v.next}</p>` : nothing}
      <p class="to-read">${run.drill ? html`<a href=${`/drill?run=${encodeURIComponent(run.run)}`}>${t("bench.sheet")}</a> ` : nothing}<a href=${`/records/${encodeURIComponent(run.run)}`}>${t("bench.record")}</a></p>
    </div>
    <p class="prevails">${prevails(run.prevails)}</p>
  </section>`;
}

/**
 * The nebuliser of the coming part, by the mark that is read off it.
 * @param {import("./contract.js").Kit} kit @param {string} run @param {boolean} inert @param {Acts} act
 */
function nebuliser(kit, run, inert, act) {
  const name = lookUp(roles, kit.role);
  return html`<form class="kit-ask" aria-label=${t("bench.kit")} @submit=${(/** @type {Event} */ e) => {
    e.preventDefault();
    const field = /** @type {HTMLInputElement} */ (/** @type {HTMLFormElement} */ (e.target).elements.namedItem("mark"));
    if (field.value.trim() === "" || inert) return;
    act.verb("take", { mark: field.value.trim() });
    field.value = "";
  }}>
    <label class="field"><span>${kit.mark ? t("bench.kit_another", { role: name, mark: kit.mark, lot: kit.lot }) : t("bench.kit_ask", { role: name })}</span>
      <input name="mark" autocomplete="off" maxlength="60" data-run=${run} ?disabled=${inert}></label>
    <button type="submit" ?disabled=${inert}>${t("bench.kit_this")}</button>
  </form>`;
}

/** @param {Run} run @param {Shown} s @param {Ui} ui @param {boolean} inert @param {Acts} act */
function asked(run, s, ui, inert, act) {
  const since = [5, 15, 30, 60, 120];
  return html`<section class="asked" aria-label=${t("bench.questions")}>
    <div class="questions">${run.questions.map((q) => {
      const state = q.answered ? (q.yes ? "yes" : "no") : "open";
      return html`<button class=${`question ${state}`} aria-pressed=${q.answered && q.yes ? "true" : "false"} ?disabled=${inert}
        @click=${() => act.verb("answer", { question: q.id, yes: !(q.answered && q.yes) })}>
        <i aria-hidden="true">${state === "yes" ? "✓" : state === "no" ? "✕" : "?"}</i><span>${lookUp(questions, q.id)}${q.id === "cleared" && run.uncleared ? html`<b>${t("bench.uncleared_short", { name: run.wearer })}</b>` : nothing}</span><small>${t(state === "open" ? "bench.not_asked" : `bench.${state}`)}</small></button>`;
    })}</div>
    <div class="since"><h2 id="since">${t("bench.water")}</h2><div class="either" role="group" aria-labelledby="since">${since.map(
      (min) => html`<button aria-current=${ui.water?.run === run.run && ui.water.min === min ? "true" : nothing} ?disabled=${inert} @click=${() => act.water(min)}>${min < 60 ? t("bench.min", { n: min }) : t("bench.hours", { n: min / 60 })}</button>`,
    )}</div>${run.need_ms > 0 ? html`<p>${t(run.wait_ms > 0 ? "bench.asked_wait" : "bench.asked_done", { need: minutes(run.need_ms), left: minutes(run.wait_ms) })}</p>` : nothing}
      ${identity(run, inert, act)}${pairing(run, s)}</div>
  </section>`;
}

/**
 * The controls, each in its own place (slot-…) whatever the stage: what a hand
 * has learned stays true, and nothing that ends a run comes to lie under a
 * finger that pressed something else.
 * @param {Run} run @param {Shown} s @param {Ui} ui @param {boolean} inert @param {Acts} act
 */
function foot(run, s, ui, inert, act) {
  if (run.stage === "proving_mist") {
    return html`<footer class="foot" aria-label=${t("bench.controls")}><button class="slot-go" ?disabled=${inert} @click=${() => act.verb("proof_tasted")}>${t("bench.proof_tasted")}<small>${t("bench.proof_tasted_small")}</small></button>
      <button class="slot-abandon danger" ?disabled=${inert} @click=${() => act.verb("proof_nothing")}>${t("bench.proof_nothing")}<small>${t("bench.proof_nothing_small")}</small></button>
      <button class="slot-touched" ?disabled=${inert} @click=${() => act.verb("leave_proof")}>${t("bench.leave_proof")}<small>${key("Esc")} ${t("bench.leave_proof_small")}</small></button>${stop(s, act)}</footer>`;
  }
  const away = html`<button class="slot-away" @click=${() => act.far(true)}>${t("bench.distance")}<small>${key("D")} ${t("bench.distance_small")}</small></button>`;
  if (s.verdict) {
    return html`<footer class="foot" aria-label=${t("bench.controls")}>${away}${s.verdict.mayProve
      ? html`<button class="slot-count long" ?disabled=${inert} @click=${act.prove}>${t("bench.proof")}<small>${key("P")} ${t("bench.proof_small")}</small></button>`
      : nothing}<button class="slot-go primary" ?disabled=${inert} @click=${act.close}>${t("bench.next")}<small>${key("N")}</small></button></footer>`;
  }
  const m = s.may;
  const plain = (/** @type {boolean|string} */ on, /** @type {string} */ slot, /** @type {string} */ k, /** @type {string} */ name, /** @type {string} */ what, /** @type {() => void} */ then) =>
    on ? html`<button class=${`slot-${slot} danger`} ?disabled=${inert} @click=${then}>${name}<small>${key(k)} ${what}</small></button>` : nothing;
  return html`<footer class="foot" aria-label=${t("bench.controls")}>
    ${away}
    ${m.correct ? html`<button class="slot-count" ?disabled=${inert} @click=${() => act.panel("count")}>${t("bench.wrong_count")}<small>${key("C")} ${t("bench.wrong_count_small")}</small></button>` : nothing}
    ${m.park || s.parkNot ? html`<button class=${`slot-count ${m.park ? "long" : "park-not"}`} ?disabled=${inert || !m.park} @click=${act.park}>${t("bench.park")}<small>${s.parkNot || html`${key("K")} ${t("bench.park_small")}`}</small></button>` : nothing}
    ${plain(m.aloud, "aloud", "A", t("bench.aloud"), m.aloud, () => act.verb("said_aloud"))}
    ${plain(m.hoodOff, "hood", "H", t("bench.hood_off"), t("bench.not_valid"), () => act.verb("hood_off"))}
    ${plain(m.noMist, "mist", "M", t("bench.no_mist"), t("bench.not_valid"), () => act.verb("mist_failed"))}
    ${plain(m.touched, "touched", "F", t("bench.touched"), t("bench.not_valid"), () => act.verb("touched"))}
    ${s.goOn ? goOn(run, s, inert, act) : nothing}
    ${m.stop ? html`${abandon(ui, inert, act)}${stop(s, act)}` : nothing}
  </footer>`;
}

/** @param {{holding: boolean}} ui @param {boolean} inert @param {Acts} act */
function abandon(ui, inert, act) {
  return html`<button class=${`slot-abandon danger ${ui.holding ? "holding" : ""}`} ?disabled=${inert} @pointerdown=${(/** @type {PointerEvent} */ e) => {
    /** @type {Element} */ (e.currentTarget).setPointerCapture(e.pointerId);
    act.hold(true);
  }} @pointerup=${() => act.hold(false)} @lostpointercapture=${() => act.hold(false)} @pointercancel=${() => act.hold(false)}
    @keydown=${(/** @type {KeyboardEvent} */ e) => e.key === "Enter" && !e.repeat && act.hold(true)} @keyup=${(/** @type {KeyboardEvent} */ e) => e.key === "Enter" && act.hold(false)}>${t("bench.abandon")}<small>${key("Q")} ${t(ui.holding ? "bench.keep_holding" : "bench.hold")}</small></button>`;
}

/** @param {Run} run @param {Shown} s @param {boolean} inert @param {Acts} act */
function correcting(run, s, inert, act) {
  const given = run.stage === "screening" ? run.screening.squeezes : s.pips.filter((p) => p.kind !== "due").length;
  const send = (/** @type {number} */ delta, /** @type {string} */ reason) => () => {
    act.verb("correct", { delta, reason, top_up: run.dose?.n ?? 0 });
    act.panel("none");
  };
  return html`<footer class="foot correcting" aria-label=${t("bench.wrong_count")}>
    <div class="reasons">${s.noAdd ? html`<p>${s.noAdd}</p>` : html`<fieldset><legend>${t("bench.count_add")}</legend>${corrections.add.map((r) => html`<button ?disabled=${inert} @click=${send(1, r)}>${r}</button>`)}</fieldset>`}
    <fieldset><legend>${given > 0 ? t("bench.count_take", { n: given }) : t("bench.count_none")}</legend>${corrections.take.map(
      (r) => html`<button ?disabled=${inert || given === 0} @click=${send(-1, r)}>${r}</button>`,
    )}</fieldset></div>
    <button class="slot-abandon" @click=${() => act.panel("none")}>${t("bench.count_leave")}<small>${key("Esc")}</small></button>
    ${stop(s, act)}
  </footer>`;
}

/** @param {Ui} ui @param {Acts} act */
function keys(ui, act) {
  return html`<aside class="keys" aria-label=${t("bench.keys")} tabindex="-1"><p><button @click=${() => act.panel("none")}>${t("bench.close")} ${key("Esc")}</button></p>${shortcuts("bench", ui.sim)}
    <p>${t("bench.keys_space")}</p><p><a href="/help#bench">${t("bench.keys_more")}</a></p></aside>`;
}
