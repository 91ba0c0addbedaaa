// SPDX-License-Identifier: Apache-2.0

// The Bench: where the tester stands. Pure: a screen from what is shown.

import { html, nothing } from "./vendor/lit-html.js";
import { stripSvg } from "./draw.js";
import { around, ofRun, wide } from "./strip.js";
import { minutes } from "./state.js";
import { clockShown } from "./state-inputs.js";
import { clockForm } from "./view-clock.js";
import { simContacts } from "./view-contacts.js";
import { healthLine, nav, practice, problemLine, sentence } from "./view-common.js";
import { agents, corrections, lookUp, prevails, questions, roles, stages } from "./words.js";

/** @typedef {import("./contract.js").Snapshot} Snapshot */
/** @typedef {import("./contract.js").Run} Run */
/** @typedef {import("./state.js").Shown} Shown */
/** @typedef {"wide"|"low"|"narrow"} Size */
/**
 * @typedef {object} Own
 * @property {Size} size
 * @property {"none"|"count"|"keys"} panel
 * @property {boolean} holding    abandon is being held
 * @property {import("./contract.js").Choices|null} choices
 * @property {import("./contract.js").Open} form
 * @property {import("./state-inputs.js").Edit} clock  the clock's form, when a person changed it
 */
/** @typedef {Own & import("./driver.js").Driven} Ui */
/**
 * @typedef {object} Acts
 * @property {(verb: string, input?: Omit<import("./contract.js").Input, "do">) => void} verb
 * @property {() => void} open
 * @property {() => void} close
 * @property {() => void} takeOver
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
    return html`<main class="sheet plain"><h1>Bench</h1>${problemLine(ui.problem)}<p class="say" aria-live="polite">Looking for the box.</p></main>`;
  }
  const run = snap.run;
  const inert = s.stale || ui.asleep || !s.driving;
  return html`<main class=${`sheet bench at-${s.stage} ${s.stale ? "stale" : ""} ${ui.sim ? "with-sim" : ""} ${ui.panel !== "none" ? "with-panel" : ""}`}>
    <div class="top">${practice(snap.practice)}${ui.sim ? simContacts(ui, inert, act.contact) : nothing}</div>
    ${head(snap, s)}
    ${banner(s, ui, act)}
    <p class="say" aria-live="polite">${sentence(s.sentence)}</p>
    ${run === null ? opening(snap, ageMs, ui, inert, act) : body(run, s, ui, inert, act)}
    ${ui.panel === "keys" ? keys(ui, act) : nothing}
  </main>`;
}

/** @param {Snapshot} snap @param {Shown} s */
function head(snap, s) {
  const run = snap.run;
  return html`<header class="head">
    ${run === null
      ? html`<h1>Bench</h1>${nav("/bench")}`
      : html`<h1 class="quiet">Bench</h1><b>${run.wearer}</b><span class="about"><span>${run.facepiece}</span><span>${lookUp(agents, run.agent)}${run.screening.bin ? `, bin ${run.screening.bin}` : ""}</span><span>${run.rules}</span><span class="stage">${lookUp(stages, run.stage)}</span></span>`}
    ${healthLine(s.health)}
  </header>`;
}

/** @param {Shown} s @param {Ui} ui @param {Acts} act */
function banner(s, ui, act) {
  return html`<div class="lines">
    ${problemLine(ui.problem)}
    ${s.stale
      ? html`<p class="notice" role="status"><strong>No word from the box.</strong> What you see is ${s.age}.</p>`
      : ui.asleep
        ? html`<p class="notice" role="status"><strong>Back again.</strong> Touch anywhere once to wake the controls.</p>`
        : s.driving
          ? nothing
          : html`<p class="notice" role="status"><strong>Watching.</strong> ${s.driven ? "Another page drives." : "Nobody drives."} <button @click=${act.takeOver}>Take over</button></p>`}
    ${ui.said ? html`<p class="note" role="status">${ui.said}</p>` : s.note ? html`<p class="note" role="status">${s.note}</p>` : nothing}
  </div>`;
}

/** @param {Snapshot} snap @param {number} ageMs @param {Ui} ui @param {boolean} inert @param {Acts} act */
function opening(snap, ageMs, ui, inert, act) {
  const clock = clockShown(snap, ageMs);
  const lacks = snap.inputs.missing ?? "";
  return html`
    ${lacks ? html`<p class="refused" role="alert"><span aria-hidden="true">⊘ </span>${lacks}. <a href="/inputs">Inputs</a> shows every contact.</p>` : nothing}
    ${clock.unset ? html`<section class="unset" aria-label="Clock">${clockForm(clock, ui.clock, inert, act.clock)}</section>` : nothing}
    ${choosing(ui, inert, lacks !== "" || clock.unset, act)}`;
}

/** @param {Ui} ui @param {boolean} inert @param {boolean} barred @param {Acts} act */
function choosing(ui, inert, barred, act) {
  const c = ui.choices;
  if (c === null) return html`<p>Reading the lists.</p>`;
  const f = ui.form;
  const piece = c.facepieces.find((p) => p.id === f.facepiece);
  const refused = piece?.refused?.[f.rules] ?? "";
  const ready = f.wearer && f.facepiece && f.rules && f.agent && f.tester && !refused && !barred;
  const pick = (/** @type {keyof import("./contract.js").Open} */ name) => (/** @type {Event} */ e) => act.choose(name, /** @type {HTMLSelectElement} */ (e.target).value);
  const list = (/** @type {keyof import("./contract.js").Open} */ name, /** @type {string} */ label, /** @type {{id: string, label: string}[]} */ of) => html`<label class="field"><span>${label}</span>
    <select .value=${f[name]} @change=${pick(name)} ?disabled=${inert}><option value="" ?selected=${f[name] === ""}>Choose</option>${of.map((o) => html`<option value=${o.id} ?selected=${o.id === f[name]}>${o.label}</option>`)}</select></label>`;
  const either = (/** @type {keyof import("./contract.js").Open} */ name, /** @type {string} */ label, /** @type {{id: string, label: string}[]} */ of) => html`<fieldset class="field"><legend>${label}</legend><div class="either">${of.map(
    (o) => html`<label class="option"><input type="radio" name=${name} value=${o.id} .checked=${f[name] === o.id} @change=${pick(name)} ?disabled=${inert}><span>${o.label}</span></label>`,
  )}</div></fieldset>`;
  const pieces = c.facepieces.map((p) => ({ id: p.id, label: p.refused?.[f.rules] ? `${p.label} (not by this rule)` : p.label }));
  return html`<form class="opening" @submit=${(/** @type {Event} */ e) => {
    e.preventDefault();
    if (ready && !inert) act.open();
  }}>
    ${list("wearer", "Person", c.people)}
    ${list("facepiece", "Facepiece", pieces)}
    ${refused ? html`<p class="refused" role="alert"><span aria-hidden="true">⊘ </span>${refused}</p>` : nothing}
    ${either("rules", "Rules", c.rules)}
    ${either("agent", "Agent", c.agents.map((a) => ({ id: a, label: lookUp(agents, a) })))}
    ${ui.sim && c.testers.length ? list("tester", "Tester", c.testers.map((t) => ({ id: t, label: t }))) : html`<label class="field"><span>Tester</span>
      <input name="tester" list="testers" autocomplete="off" maxlength="100" .value=${f.tester} @input=${(/** @type {Event} */ e) => act.choose("tester", /** @type {HTMLInputElement} */ (e.target).value)} ?disabled=${inert}>
      <datalist id="testers">${c.testers.map((t) => html`<option value=${t}></option>`)}</datalist></label>`}
    <div class="send"><button type="submit" class="primary" ?disabled=${inert || !ready}>Open the run</button></div>
  </form>`;
}

/** @param {Run} run @param {Shown} s @param {Ui} ui @param {boolean} inert @param {Acts} act */
function body(run, s, ui, inert, act) {
  return html`
    ${run.kit ? nebuliser(run.kit, run.run, inert, act) : nothing}
    ${run.stage === "ready" ? asked(run, inert, act) : now(run, s)}
    ${run.stage === "ready" || run.stage === "screening" ? nothing : picture(run, s, ui)}
    ${s.faults.length && s.stage !== "running" ? html`<p class="faults">Noted of the inputs: ${s.faults.join("; ")}.</p>` : nothing}
    ${ui.panel === "count" ? correcting(run, s, inert, act) : foot(run, s, ui, inert, act)}`;
}

/** @param {Run} run @param {Shown} s @param {Ui} ui */
function picture(run, s, ui) {
  const strip = ofRun(run, s.clockMs, s.big.mark);
  const frame = ui.size === "narrow" ? around(strip, 366, 190) : ui.size === "low" ? { ...wide, width: 1180, height: 168, times: false } : wide;
  return html`<section class="strip" aria-label="Strip">${stripSvg(strip, frame, "strip of the run: squeezes due and given, exercises, and the modelled hood level")}</section>`;
}

/** @param {Run} run @param {Shown} s */
function now(run, s) {
  if (s.verdict) return verdict(run, s, s.verdict);
  return html`<section class="now" aria-label="Now">
    <div class=${`big ${s.big.kind}`}><span>${s.big.text}</span><small>${s.big.label}</small></div>
    <div class="due"><h2>${s.title}</h2>${pips(s)}<p>${s.detail}</p></div>
    ${s.exercise ? html`<div class="exercise"><h2>${s.exercise.name}</h2><div class="left">${s.exercise.left}</div><p class="care">${s.exercise.care}</p><p>${s.exercise.after}</p></div>` : nothing}
  </section>`;
}

/** @param {Shown} s */
function pips(s) {
  if (s.pips.length === 0) return nothing;
  const given = s.pips.filter((p) => p.kind === "given").length;
  const due = s.pips.filter((p) => p.kind !== "extra").length;
  return html`<div class=${`pips of-${due}`} role="img" aria-label=${`${given} of ${due} given`}>${s.pips.map((p) => html`<i class=${`pip ${p.kind}`}></i>`)}</div>`;
}

/** @param {Run} run @param {Shown} s @param {NonNullable<Shown["verdict"]>} v */
function verdict(run, s, v) {
  return html`<section class="now ended" aria-label="Verdict">
    <div class=${`big word ${s.big.stop ? "failed" : ""}`}><span><i aria-hidden="true">${s.big.mark}</i> ${v.word}</span></div>
    <div class="due">
      ${v.reason ? html`<p class="reason">${v.reason}</p>` : nothing}
      ${v.proof ? html`<p>${v.proof}</p>` : nothing}
      ${v.next ? html`<p>${v.next}</p>` : nothing}
      <p class="prevails">${run.prevails || prevails}</p>
      <p><a href=${`/records/${encodeURIComponent(run.run)}`}>The record of this run</a></p>
    </div>
  </section>`;
}

/**
 * The nebuliser of the coming part, by the mark that is read off it.
 * @param {import("./contract.js").Kit} kit @param {string} run @param {boolean} inert @param {Acts} act
 */
function nebuliser(kit, run, inert, act) {
  const name = lookUp(roles, kit.role);
  return html`<form class="kit-ask" aria-label="Nebuliser" @submit=${(/** @type {Event} */ e) => {
    e.preventDefault();
    const field = /** @type {HTMLInputElement} */ (/** @type {HTMLFormElement} */ (e.target).elements.namedItem("mark"));
    if (field.value.trim() === "" || inert) return;
    act.verb("take", { mark: field.value.trim() });
    field.value = "";
  }}>
    <label class="field"><span>${kit.mark ? `${name}: ${kit.mark}, lot ${kit.lot}. Another one:` : `Mark on the ${name}`}</span>
      <input name="mark" autocomplete="off" maxlength="60" data-run=${run} ?disabled=${inert}></label>
    <button type="submit" ?disabled=${inert}>Use it</button>
  </form>`;
}

/** @param {Run} run @param {boolean} inert @param {Acts} act */
function asked(run, inert, act) {
  const since = [["5 min", 5], ["15 min", 15], ["30 min", 30], ["1 hour", 60], ["2 hours", 120]];
  return html`<section class="asked" aria-label="Questions before the test">
    <div class="questions">${run.questions.map((q) => {
      const state = q.answered ? (q.yes ? "yes" : "no") : "open";
      return html`<button class=${`question ${state}`} aria-pressed=${q.answered && q.yes ? "true" : "false"} ?disabled=${inert}
        @click=${() => act.verb("answer", { question: q.id, yes: !(q.answered && q.yes) })}>
        <i aria-hidden="true">${state === "yes" ? "✓" : state === "no" ? "✕" : "?"}</i><span>${lookUp(questions, q.id)}</span><small>${state === "open" ? "not asked" : state}</small></button>`;
    })}</div>
    <div class="since"><h2 id="since">Nothing but water since</h2><div class="either" role="group" aria-labelledby="since">${since.map(
      ([label, min]) => html`<button ?disabled=${inert} @click=${() => act.verb("abstained", { for_ns: Number(min) * 60e9 })}>${label}</button>`,
    )}</div><p>${run.need_ms > 0 ? (run.wait_ms > 0 ? `Asked: ${minutes(run.need_ms)}. Still to wait: ${minutes(run.wait_ms)}.` : `Asked: ${minutes(run.need_ms)}. Long enough.`) : nothing}</p></div>
  </section>`;
}

/** @param {Run} run @param {Shown} s @param {Ui} ui @param {boolean} inert @param {Acts} act */
function foot(run, s, ui, inert, act) {
  const key = (/** @type {string} */ k) => html`<kbd>${k}</kbd>`;
  if (run.stage === "proving_mist") {
    return html`<footer class="foot"><button ?disabled=${inert} @click=${() => act.verb("proof_tasted")}>Tasted it<small>the mist was there</small></button>
      <button class="danger" ?disabled=${inert} @click=${() => act.verb("proof_nothing")}>Tasted nothing<small>the pass does not stand</small></button></footer>`;
  }
  if (s.verdict) {
    return html`<footer class="foot">${s.verdict.mayProve
      ? html`<button ?disabled=${inert} @click=${() => act.verb("begin_proof")}>Begin the proof ${key("P")}<small>the seal broken under the hood</small></button>`
      : nothing}<span class="gap"></span><button class="primary" ?disabled=${inert} @click=${act.close}>Next run ${key("N")}</button></footer>`;
  }
  const m = s.may;
  const plain = (/** @type {boolean|string} */ on, /** @type {string} */ k, /** @type {string} */ name, /** @type {string} */ what, /** @type {() => void} */ then) =>
    on ? html`<button class="danger" ?disabled=${inert} @click=${then}>${name} ${key(k)}<small>${what}</small></button>` : nothing;
  return html`<footer class="foot" aria-label="Controls">
    ${plain(m.aloud, "A", "Said it aloud", m.aloud, () => act.verb("said_aloud"))}
    ${plain(m.touched, "F", "Facepiece touched", "not valid", () => act.verb("touched"))}
    ${plain(m.hoodOff, "H", "Hood off", "not valid", () => act.verb("hood_off"))}
    ${plain(m.noMist, "M", "No mist", "not valid", () => act.verb("mist_failed"))}
    ${m.correct ? html`<button ?disabled=${inert} @click=${() => act.panel("count")}>Wrong count ${key("C")}<small>add or take back</small></button>` : nothing}
    <span class="gap"></span>
    ${m.stop
      ? html`<button class=${`danger ${ui.holding ? "holding" : ""}`} ?disabled=${inert} @pointerdown=${(/** @type {PointerEvent} */ e) => {
            /** @type {Element} */ (e.currentTarget).setPointerCapture(e.pointerId);
            act.hold(true);
          }} @pointerup=${() => act.hold(false)} @lostpointercapture=${() => act.hold(false)} @pointercancel=${() => act.hold(false)}
          @keydown=${(/** @type {KeyboardEvent} */ e) => e.key === "Enter" && !e.repeat && act.hold(true)} @keyup=${(/** @type {KeyboardEvent} */ e) => e.key === "Enter" && act.hold(false)}>Abandon ${key("Q")}<small>${ui.holding ? "keep holding" : "hold one second"}</small></button>
        <button class="stop danger" ?disabled=${s.stale} @click=${() => act.verb("welfare")}>Stop now ${key("S")}<small>for the person</small></button>`
      : nothing}
    ${s.goOn ? html`<button class="primary" ?disabled=${inert || s.blocked !== ""} @click=${() => act.verb("go_on")}>Go on ${key("G")}<small>${goesTo(run)}</small></button>` : nothing}
  </footer>`;
}

/** @param {Run} run */
function goesTo(run) {
  switch (run.stage) {
    case "ready":
      return "to the sensitivity test";
    case "clearing":
      return "taste has gone";
    case "donning":
      return "to the initial dose";
    default:
      return "nothing was tasted";
  }
}

/** @param {Run} run @param {Shown} s @param {boolean} inert @param {Acts} act */
function correcting(run, s, inert, act) {
  const given = run.stage === "screening" ? run.screening.squeezes : s.pips.filter((p) => p.kind !== "due").length;
  const send = (/** @type {number} */ delta, /** @type {string} */ reason) => () => {
    act.verb("correct", { delta, reason });
    act.panel("none");
  };
  return html`<footer class="foot correcting" aria-label="Wrong count">
    <fieldset><legend>Add one squeeze, because</legend>${corrections.add.map((r) => html`<button ?disabled=${inert} @click=${send(1, r)}>${r}</button>`)}</fieldset>
    <fieldset><legend>${given > 0 ? `Take back squeeze ${given}, because` : "Nothing to take back"}</legend>${corrections.take.map(
      (r) => html`<button ?disabled=${inert || given === 0} @click=${send(-1, r)}>${r}</button>`,
    )}</fieldset>
    <span class="gap"></span><button @click=${() => act.panel("none")}>Leave as it is</button>
    <button class="stop danger" ?disabled=${s.stale} @click=${() => act.verb("welfare")}>Stop now</button>
  </footer>`;
}

/** @param {Ui} ui @param {Acts} act */
function keys(ui, act) {
  const rows = [
    ["G", "Go on"], ["A", "Said it aloud"], ["F", "Facepiece touched"], ["H", "Hood off"], ["M", "No mist"], ["C", "Wrong count"], ["S", "Stop now, for the person"],
    ["Q", "Abandon: hold one second"], ["P", "Begin the proof"], ["N", "Next run"], ["?", "This list"], ["Esc", "Close"],
    ...(ui.sim ? [["B", "Simulated bulb"], ["T", "Simulated taste button"]] : []),
  ];
  return html`<section class="keys" role="dialog" aria-label="Keys"><h2>Keys</h2><dl>${rows.map(([k, w]) => html`<div><dt><kbd>${k}</kbd></dt><dd>${w}</dd></div>`)}</dl>
    <p>The space bar does nothing that ends a run.</p><button @click=${() => act.panel("none")}>Close</button></section>`;
}
