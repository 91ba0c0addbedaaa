// SPDX-License-Identifier: Apache-2.0

// The Gallery: trainers watch every board at once, names masked, and nothing
// here drives a run. One board may fill the screen for a classroom. Pure.

import { html, nothing } from "./vendor/lit-html.js";
import { stripSvg } from "./draw.js";
import { t } from "./lang.js";
import { marks, minutes, parkedShown, shown } from "./state.js";
import { cadence, dead, lesson } from "./state-gallery.js";
import { around, ofRun, wide } from "./strip.js";
import { healthLine, nav, practice, problemLine, sentence } from "./view-common.js";
import { heard } from "./view-controls.js";
import { agents, exercise, fault, health, lookUp, outcomes, pieceName, say, stages, whys } from "./words.js";

/** @typedef {import("./state-gallery.js").Board} Board */
/** @typedef {import("./state-gallery.js").Remark} Remark */
/** @typedef {{size: "wide"|"low"|"narrow", problem: string, presenting: boolean, chosen: number}} Ui */
/** @typedef {{present: (on: boolean) => void, choose: (by: number) => void}} Acts */

/**
 * @param {Board[]} boards this box first
 * @param {Remark[]} remarks newest first
 * @param {Ui} ui
 * @param {Acts} act
 */
export function gallery(boards, remarks, ui, act) {
  const own = boards[0];
  if (!own || (own.snap === null && boards.length === 1)) {
    return html`<main class="sheet plain gallery"><h1>${t("gallery.title")}</h1>${problemLine(ui.problem)}<p class="say" aria-live="polite">${t("gallery.looking")}</p></main>`;
  }
  if (ui.presenting) return presented(boards, ui, act);
  return html`<main class="sheet plain gallery">
    ${practice(own.snap?.practice)}
    <header class="head"><h1>${t("gallery.title")}</h1>${nav("/gallery")}${own.snap ? healthLine(shown(own.snap, own.ageMs, "").health) : nothing}</header>
    ${problemLine(ui.problem)}
    <div class=${`room ${boards.length > 1 ? "" : "of-one"}`}>
      <div class="boards">${boards.map((b) => strips(b, ui, boards.length > 1))}</div>
      <aside class="happens" aria-label=${t("gallery.remarks")}>
        <h2>${t("gallery.remarks")}</h2>
        ${remarks.length === 0 ? html`<p>${t("gallery.no_remarks")}</p>` : nothing}
        <div class="log" role="log" tabindex="0" aria-label=${t("gallery.remarks")}><ol>${remarks.map((r) => remark(r, boards.length > 1))}</ol></div>
        <button type="button" @click=${() => act.present(true)}>${t("gallery.present")} <kbd>P</kbd><small>${t("gallery.present_keys")}</small></button>
      </aside>
    </div>
  </main>`;
}

/** @param {Board} b */
const called = (b) => (b.own ? t("gallery.this_box") : b.name);

/** How old something is, in words. @param {number} ms */
function old(ms) {
  const s = Math.floor(ms / 1000);
  return s < 120 ? t("gallery.seconds", { s }) : t("gallery.minutes", { m: Math.floor(s / 60) });
}

/** Why a board shows nothing new; empty when it does. @param {Board} b */
function silence(b) {
  if (b.state === "refused" || b.state === "other") return t(`gallery.${b.state}`);
  if (b.snap === null) return t("gallery.lost_never");
  return dead(b) ? t("gallery.lost", { age: old(b.ageMs) }) : "";
}

/** Its age is there to be read, not called out each second. @param {Board} b @param {string} quiet */
function silent(b, quiet) {
  return html`<p class="notice silent">${quiet}</p><p class="quiet" role="status">${b.state === "refused" || b.state === "other" ? quiet : t("gallery.lost_never")}</p>`;
}

/** @param {Board} b @param {Ui} ui @param {boolean} many */
function strips(b, ui, many) {
  const quiet = silence(b);
  const snap = b.snap;
  const run = snap?.run ?? null;
  const s = snap && shown(snap, b.ageMs, "");
  return html`<article class=${`board ${many ? "one-of-many" : "alone"} ${dead(b) ? "dead" : ""}`}>
    ${many ? html`<h2>${called(b)} ${!b.own && snap?.practice ? html`<span class="stamp">${t("run.practice")}</span>` : nothing}</h2>` : nothing}
    ${quiet ? silent(b, quiet) : nothing}
    ${run && snap && s ? open(run, snap, s, b, ui, many) : snap && !quiet ? html`<p class="say none">${t("gallery.no_run")}</p>` : nothing}
    ${snap && snap.parked.length > 0
      ? html`<ul class="parked-small" aria-label=${t("gallery.parked_title")}>${parkedShown(snap, b.ageMs).map((p) => html`<li>${t("gallery.parked", { stage: p.stage, clock: p.clock || "–" })}</li>`)}</ul>`
      : nothing}
  </article>`;
}

/** @param {import("./contract.js").Run} run @param {import("./contract.js").Snapshot} snap @param {import("./state.js").Shown} s @param {Board} b @param {Ui} ui @param {boolean} many */
function open(run, snap, s, b, ui, many) {
  const strip = ofRun(run, s.clockMs, s.big.mark);
  const frame = ui.size === "narrow" ? around(strip, 366, 170) : { ...wide, height: many ? 150 : 210 };
  return html`<p class="at">${many ? html`<b class=${s.big.stop ? "failed" : ""}>${s.big.mark ? html`<span aria-hidden="true">${s.big.mark} </span>` : nothing}${s.big.text}</b> <span>${s.big.label}</span>` : nothing}
      <strong>${lookUp(stages, run.stage)}</strong>${s.exercise && many ? html`<span>${s.exercise.name}, ${s.exercise.left}</span>` : nothing}
      <span class="kit">${pieceName(run.facepiece)}</span><span class="kit">${lookUp(agents, run.agent)}${run.screening.bin ? `, ${t("gallery.bin", { bin: run.screening.bin })}` : ""}</span></p>
    <p class="say">${sentence((many && s.verdict?.reason) || s.sentence)}</p>
    ${many ? nothing : large(s)}
    <div class="strip">${stripSvg(strip, frame, t("gallery.strip"))}</div>
    ${paced(run, s.clockMs)}
    ${b.own || !snap.storage ? nothing : html`<p>${snap.storage === "unnoted" ? sentence(say.unnoted()) : health.notSaving}</p>`}`;
}

/** The only board has the room for what the Bench shows large. @param {import("./state.js").Shown} s */
function large(s) {
  if (s.verdict) {
    return html`<div class="now ended"><div class=${`big word ${s.verdict.word.length > 10 ? "long" : ""} ${s.big.stop ? "failed" : ""}`}><span><i aria-hidden="true">${s.big.mark}</i> ${s.verdict.word}</span></div>
      <div class="due">${s.verdict.reason ? html`<p class="reason">${s.verdict.reason}</p>` : nothing}${s.verdict.proof ? html`<p>${s.verdict.proof}</p>` : nothing}</div></div>`;
  }
  const due = s.pips.filter((p) => p.kind !== "extra").length;
  return html`<div class="now"><div class=${`big ${s.big.kind}`}><span>${s.big.text}</span><small>${s.big.label}</small></div>
    <div class="due">${s.title ? html`<h2>${s.title}</h2>` : nothing}${due ? html`<div class=${`pips of-${due}`} aria-hidden="true">${s.pips.map((p) => html`<i class=${`pip ${p.kind}`}></i>`)}</div>` : nothing}<p>${s.detail}</p></div>
    ${s.exercise ? html`<div class="exercise"><h2>${s.exercise.name}</h2><div class="left">${s.exercise.left}</div><p>${s.exercise.after}</p></div>` : nothing}</div>`;
}

/** @param {number} ms */
const seconds = (ms) => (ms / 1000).toFixed(1);

/** How evenly and how late the doses come. @param {import("./contract.js").Run} run @param {number|null} clockMs */
function paced(run, clockMs) {
  const c = cadence(run, clockMs);
  if (c.between === null && c.lateness === null) return nothing;
  return html`<dl class="paced"><div><dt>${t(c.dose === 0 ? "gallery.between_initial" : "gallery.between")}</dt><dd>${c.between
      ? html`${t("gallery.median_worst", { median: seconds(c.between.median), worst: seconds(c.between.worst) })}${c.between.hurried ? html` <b>${t("gallery.hurried_mark")}</b>` : nothing}`
      : t("gallery.nothing_yet")}</dd></div>
    <div><dt>${t("gallery.lateness")}</dt><dd>${c.lateness ? t("gallery.median_late", { median: seconds(c.lateness.median), worst: seconds(c.lateness.worst) }) : t("gallery.nothing_yet")}</dd></div></dl>`;
}

/** @param {Remark} r @param {boolean} many */
function remark(r, many) {
  const what = r.key === "fault" ? fault(r.what) : r.key === "note" ? lookUp(whys, r.what) : r.key === "verdict" ? lookUp(outcomes, r.what) : "";
  const dosed = r.key === "late" || r.key === "hurried" || r.key === "extra";
  return html`<li class=${`happened ${r.key}`}><time>${r.atMs === null || r.atMs < 0 ? t("gallery.before") : minutes(r.atMs)}</time><span>${many ? html`<b>${r.board || t("gallery.this_box")}</b> ` : nothing}${t(`gallery.${r.key}${dosed && r.n === 0 ? "_0" : ""}`, { n: r.n, what })}</span></li>`;
}

/** One board for a classroom. @param {Board[]} boards @param {Ui} ui @param {Acts} act */
function presented(boards, ui, act) {
  const n = Math.min(ui.chosen, boards.length - 1);
  const b = /** @type {Board} */ (boards[n]);
  const snap = b.snap;
  const run = snap?.run ?? null;
  const s = snap && shown(snap, b.ageMs, "");
  const quiet = silence(b);
  const why = snap ? lesson(snap, b.ageMs) : null;
  const strip = run && s ? ofRun(run, s.clockMs, s.big.mark) : null;
  return html`<main class=${`sheet present ${dead(b) ? "dead" : ""}`}>
    ${practice(snap?.practice)}
    <header class="head"><h1>${called(b)}</h1>${run ? html`<span class="stage">${lookUp(stages, run.stage)}</span>` : nothing}
      ${s?.exercise ? html`<span class="stage">${s.exercise.name}, ${s.exercise.left}</span>` : nothing}
      <span class="gap"></span>${boards.length > 1 ? html`<button type="button" @click=${() => act.choose(1)}>${t("gallery.wall", { i: n + 1, n: boards.length })} <kbd>→</kbd></button>` : nothing}
      <button type="button" @click=${() => act.present(false)}>${t("gallery.present_back")} <kbd>P</kbd></button></header>
    ${quiet ? silent(b, quiet) : nothing}
    ${s ? heard(s) : nothing}
    <div class="lesson">
      ${s && run && s.big.kind !== "none" ? html`<p class=${`board-now ${s.big.kind} ${s.big.stop ? "failed" : ""}`}>${s.big.kind === "word" ? html`<i aria-hidden="true">${marks[run.verdict?.outcome ?? ""] ?? ""}</i>` : nothing}<b>${s.big.text}</b><span>${s.big.label}</span></p>` : nothing}
      ${why ? html`<p class="why">${sentence(t(`gallery.why_${why.key}`, { n: why.n, at: minutes(why.atMs), exercise: why.exercise ? exercise(why.exercise).name : "" }))}</p>` : nothing}
    </div>
    ${strip ? html`<div class="strip">${stripSvg(strip, ui.size === "narrow" ? around(strip, 366, 190) : wide, t("gallery.strip"))}<p class="small">${t("gallery.level_modelled")}</p></div>` : nothing}
  </main>`;
}
