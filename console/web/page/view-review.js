// SPDX-License-Identifier: Apache-2.0

// A review: the Bench's drawing of a finished run at any instant, the time it
// took with what was remarkable in it, and the player's controls. Pure.

import { html, nothing, svg } from "./vendor/lit-html.js";
import { stripSvg } from "./draw.js";
import { t } from "./lang.js";
import { marks, minutes, shown } from "./state.js";
import { atOnceMs, endedBefore, momentNow, moments, snapAt, speeds } from "./state-review.js";
import { around, ofRun, wide } from "./strip.js";
import { nav, practice, problemLine, sentence } from "./view-common.js";
import { agents, lookUp, outcomes, pieceName, practised, prevails, questions, reasons, ruleName, stages } from "./words.js";
import { momentWords } from "./words-review.js";

/** @typedef {import("./state-review.js").Player} Player */
/** @typedef {import("./state-review.js").Track} Track */
/** @typedef {ReturnType<typeof moments>[number]} Placed a moment on the axis */
/**
 * @typedef {object} Ui
 * @property {"wide"|"low"|"narrow"} size
 * @property {boolean} keys      the list of keys is open
 * @property {boolean} file      drawn in a file by itself: no other page is to be had
 * @property {boolean} silent    there is no sound to be had
 * @property {string} problem
 * @property {string} said
 */
/**
 * @typedef {object} Acts
 * @property {(what: "toggle"|"back"|"on"|"before"|"next"|"start"|"end"|"mute"|"keys"|"close") => void} do
 * @property {(speed: number) => void} speed
 * @property {(at: number) => void} seek
 */

/** @param {Player|null} p @param {Ui} ui @param {Acts} act */
export function review(p, ui, act) {
  if (p === null) {
    return html`<main class="sheet plain"><header class="head"><h1>${t("review.title")}</h1>${ui.file ? nothing : nav("/review")}</header>${problemLine(ui.problem)}${ui.problem ? nothing : html`<p class="say" aria-live="polite">${t("review.reading")}</p>`}</main>`;
  }
  const why = p.tracks.map((x) => x.review.practice).find((w) => w !== "");
  const all = moments(p);
  const pair = p.tracks.length > 1;
  return html`<main class=${`sheet review ${pair ? "pair" : ""}`}>
    <div class="top">${practice(why)}${p.tracks.map((x, i) => recalled(x, pair ? i : -1))}</div>
    <header class="head"><h1>${t("review.title")}</h1>${ui.file ? nothing : nav("/review")}</header>
    ${problemLine(ui.problem)}${ui.said ? html`<p class="note" role="status">${ui.said}</p>` : nothing}
    <div class="tracks">${p.tracks.map((x, i) => track(x, i, p, ui))}</div>
    <div class="under"><section class="axis" aria-label=${t("review.time")}>${p.tracks.map((x, i) => axis(x, i, p, all, ui.size))}
      <input type="range" min="0" max=${p.length} step="100" .value=${String(Math.round(p.at))} aria-label=${t("review.instant")} aria-valuetext=${clock(p.at)} @input=${(/** @type {Event} */ e) => act.seek(Number(/** @type {HTMLInputElement} */ (e.target).value))}>
    </section>
    ${controls(p, ui, act)}</div>
    ${listed(p, all, act)}
    ${p.tracks.map((x) => foot(x, pair, ui))}
    ${ui.keys ? keys(act) : nothing}
  </main>`;
}

/** What is said first of a run that was called back after its end. @param {Track} x @param {number} i of the letter; -1: none */
function recalled(x, i) {
  const c = x.review.recalled;
  if (!c) return nothing;
  const values = { was: lookUp(outcomes, c.outcome), day: c.at.slice(0, 10) };
  return html`<p class="notice recall" role="note">${i < 0 ? nothing : html`<b>${letters[i]}</b> `}<strong>${t("review.recalled")}</strong> ${t(values.day ? "review.recalled_on" : "review.recalled_some_day", values)} ${lookUp(reasons, x.review.reason)}</p>`;
}

/** Whole minutes and seconds of the axis. @param {number} ms */
export const clock = (ms) => `${Math.floor(ms / 60_000)}:${String(Math.floor(ms / 1000) % 60).padStart(2, "0")}`;

const letters = ["A", "B"];

/** @param {Track} x @param {number} i @param {Player} p @param {Ui} ui */
function track(x, i, p, ui) {
  const snap = snapAt(x, p.at);
  const s = snap && shown(snap, 0, "");
  const run = snap?.run;
  const pair = p.tracks.length > 1;
  if (!snap || !s || !run) return html`<article class="track" aria-label=${t("review.of_run", { run: x.review.run })}><p class="about">${pair ? html`<b>${letters[i]}</b>` : nothing}<span>${x.review.opened.slice(0, 10)}</span></p><p class="say">${t("review.not_opened")}</p><p class="happened">${t("review.opens", { time: clock(x.from) })}</p></article>`;
  const facts = factsNow(x, p.at);
  const end = endedBefore(p, x);
  const ended = end === null ? "" : t("review.had_ended", { time: clock(end) });
  return html`<article class="track" aria-label=${t("review.of_run", { run: x.review.run })}>
    <p class="about">${pair ? html`<b>${letters[i]}</b>` : nothing}${run.wearer ? html`<b>${run.wearer}</b>` : nothing}<span>${x.review.opened.slice(0, 10)}</span><span>${pieceName(run.facepiece)}</span><span>${lookUp(agents, run.agent)}${run.screening.bin ? `, ${t("review.bin", { bin: run.screening.bin })}` : ""}</span><span>${ruleName(run.rules)}</span><strong class="stage">${lookUp(stages, run.stage)}</strong>${x.review.practice ? html`<span class="stamp">${t("run.practice")}</span>` : nothing}</p>
    <p class="say">${sentence(s.sentence)}</p>
    <p class="happened" role="status" aria-live=${p.playing ? "off" : "polite"}>${facts || s.note || [ended, s.faults.join("; ")].filter(Boolean).join(" ")}</p>
    ${s.verdict ? verdict(run, s, s.verdict) : run.stage === "ready" ? asked(run) : now(s)}
    ${run.stage === "over" && run.initial === null ? html`<p class="small">${t("review.no_fit_test")}</p>` : picture(run, s, ui, pair)}
  </article>`;
}

/** What happened at this very instant, in words. @param {Track} x @param {number} at */
function factsNow(x, at) {
  const f = x.review.frames.find((y) => Math.abs(x.from + y.at_ms - at) < atOnceMs && y.facts.length > 0);
  return f ? f.facts.map((k) => t(`review.facts.${k}`)).filter((w, i, all) => w !== "" && all.indexOf(w) === i).join(" ") : "";
}

/** @param {import("./state.js").Shown} s */
function now(s) {
  const given = s.pips.filter((q) => q.kind === "given").length;
  const due = s.pips.filter((q) => q.kind !== "extra").length;
  return html`<div class="now">
    <div class=${`big ${s.big.kind}`}><span>${s.big.text}</span><small>${s.big.label}</small></div>
    <div class="due">${s.title ? html`<h2>${s.title}</h2>` : nothing}${due === 0 ? nothing : html`<div class=${`pips of-${due}`} role="img" aria-label=${t("review.pips", { given, due })}>${s.pips.map((q) => html`<i class=${`pip ${q.kind}`}></i>`)}</div>`}<p>${s.detail}</p></div>
    ${s.exercise ? html`<div class="exercise"><h2>${s.exercise.name}</h2><div class="left">${s.exercise.left}</div><p>${s.exercise.after}</p></div>` : nothing}
  </div>`;
}

/** @param {import("./contract.js").Run} run */
function asked(run) {
  return html`<div class="now asked-then"><ul>${run.questions.map((q) => html`<li><b aria-hidden="true">${q.answered ? (q.yes ? "✓" : "✕") : "?"}</b> ${lookUp(questions, q.id)}<small>${t(q.answered ? (q.yes ? "review.yes" : "review.no") : "review.open")}</small></li>`)}</ul>
    ${run.need_ms > 0 ? html`<p>${t(run.wait_ms > 0 ? "review.water_wait" : "review.water_done", { need: minutes(run.need_ms), left: minutes(run.wait_ms) })}</p>` : nothing}</div>`;
}

/** @param {import("./contract.js").Run} run @param {import("./state.js").Shown} s @param {NonNullable<import("./state.js").Shown["verdict"]>} v */
function verdict(run, s, v) {
  return html`<div class="now ended">
    <div class=${`big word ${s.big.stop ? "failed" : ""}`}><span><i aria-hidden="true">${s.big.mark}</i> ${v.word}</span></div>
    <div class="due">${v.reason ? html`<p class="reason">${v.reason}</p>` : nothing}${v.proof ? html`<p>${v.proof}</p>` : nothing}<p class="prevails">${prevails(run.prevails)}</p></div>
  </div>`;
}

/** @param {import("./contract.js").Run} run @param {import("./state.js").Shown} s @param {Ui} ui @param {boolean} pair */
function picture(run, s, ui, pair) {
  const strip = ofRun(run, s.clockMs, s.big.mark);
  const frame = ui.size === "narrow" ? around(strip, 366, 190) : pair ? around(strip, 600, 160) : ui.size === "low" ? { ...wide, width: 1180, height: 168, times: false } : { ...wide, height: 180 };
  return html`<div class="strip">${stripSvg(strip, frame, t("review.strip_label"))}</div>`;
}

/**
 * The whole of a run as a line of its stages, with a mark for each moment.
 * @param {Track} x @param {number} i @param {Player} p @param {Placed[]} all @param {Ui["size"]} size
 */
function axis(x, i, p, all, size) {
  const width = size === "narrow" ? 366 : size === "low" ? 770 : 1220;
  const pad = 13; // half of the slider's thumb
  const at = (/** @type {number} */ ms) => Math.round((pad + (ms / Math.max(1, p.length)) * (width - 2 * pad)) * 10) / 10;
  const spans = x.review.stages.map((s, k) => ({ stage: s.stage, from: x.from + s.at_ms, to: x.from + (x.review.stages[k + 1]?.at_ms ?? x.review.length_ms) }));
  const base = 46;
  const top = p.tracks.length > 1 ? 2 : 8; // one track has no letter above its line
  return html`<svg viewBox=${`0 ${top} ${width} ${58 - top}`} role="img" aria-label=${t("review.axis", { stages: spans.map((s) => `${lookUp(stages, s.stage)} ${clock(s.from)}`).join(", ") })}>
    ${p.tracks.length > 1 ? svg`<text class="r-letter" x="2" y="12">${letters[i]}</text>` : nothing}
    ${spans.map((s) => svg`<line class=${`r-span r-${s.stage}`} x1=${at(s.from)} x2=${at(s.to)} y1=${base} y2=${base}></line><line class="r-edge" x1=${at(s.from)} x2=${at(s.from)} y1=${base - 9} y2=${base + 9}></line>${
      at(s.to) - at(s.from) > 8 * lookUp(stages, s.stage).length + 4 ? svg`<text x=${at(s.from) + 5} y=${base - 16}>${lookUp(stages, s.stage)}</text>` : nothing}`)}
    ${all.filter((m) => m.track === i).map((m) => (m.kind === "verdict" ? svg`<text class="r-verdict" x=${at(m.at)} y=${base - 10} text-anchor="middle">${marks[m.key] ?? ""}</text>` : svg`<path class=${`r-moment r-kind-${m.kind}`} d=${`M${at(m.at) - 4} ${base - 12}h8l-4 8z`}></path>`))}
    <line class="r-hand" x1=${at(p.at)} x2=${at(p.at)} y1="14" y2="58"></line>
  </svg>`;
}

/** @param {Player} p @param {Ui} ui @param {Acts} act */
function controls(p, ui, act) {
  const key = (/** @type {string} */ k) => html` <kbd>${k}</kbd>`;
  const does = (/** @type {Parameters<Acts["do"]>[0]} */ what, /** @type {string} */ name, /** @type {string} */ k) => html`<button @click=${() => act.do(what)}>${name}${key(k)}</button>`;
  return html`<section class="player" aria-label=${t("review.player")}>
    <button class="primary" @click=${() => act.do("toggle")}>${p.playing ? t("review.pause") : t("review.play")}${key(t("review.space"))}</button>
    <output class="at" aria-label=${t("review.instant")}>${clock(p.at)}<small>${t("review.of", { length: clock(p.length) })}</small></output>
    ${does("back", t("review.back"), "←")}${does("on", t("review.on"), "→")}
    ${does("before", t("review.before"), "P")}${does("next", t("review.next"), "N")}
    <fieldset class="speeds"><legend class="quiet">${t("review.speed")}</legend>${speeds.map((s) => html`<label class="option"><input type="radio" name="speed" value=${s} .checked=${s === p.speed} @change=${() => act.speed(s)}><span>${t("review.times", { speed: String(s) })}</span></label>`)}</fieldset>
    ${ui.silent ? html`<p class="small">${t("review.silent")}</p>` : html`<button aria-pressed=${p.muted ? "true" : "false"} class=${p.muted ? "held" : ""} @click=${() => act.do("mute")}>${p.muted ? t("review.muted") : t("review.sound")}${key("M")}</button>`}
    <button @click=${() => act.do("keys")}>${t("review.keys")}${key("?")}</button>
  </section>`;
}

/** @param {Player} p @param {Placed[]} all @param {Acts} act */
function listed(p, all, act) {
  const current = momentNow(all, p.at);
  return html`<section class="moments" aria-labelledby="h-moments"><h2 id="h-moments">${t("review.moments")}</h2>${all.length === 0 ? html`<p>${t("review.nothing")}</p>` : html`<ol>${all.map(
    (m, k) => html`<li><button class=${`moment kind-${m.kind}`} aria-current=${k === current ? "step" : nothing} @click=${() => act.seek(m.at)}><time>${clock(m.at)}</time>${p.tracks.length > 1 ? html`<b>${letters[m.track]}</b>` : nothing}<span>${momentWords(m)}</span></button></li>`,
  )}</ol>`}</section>`;
}

/** @param {Track} x @param {boolean} pair @param {Ui} ui */
function foot(x, pair, ui) {
  const r = x.review;
  const path = `/api/v1/runs/${encodeURIComponent(r.run)}/review.html`;
  return html`<footer class="review-foot"><p class="small">${t("review.foot", { run: r.run, day: r.opened.slice(0, 10) })} ${r.practice ? t("run.not_a_record", { why: practised(r.practice) }) : nothing}</p>
    <p class="small">${t("review.hash")} <code>${r.hash}</code></p>
    ${ui.file ? html`<p class="small">${t("review.in_file")}</p>` : html`<p class="row"><a class="to" href=${path} download>${pair ? t("review.share_run", { run: r.run }) : t("review.share")}<small>${t("review.share_small")}</small></a> <a class="to" href=${`/records/${encodeURIComponent(r.run)}`}>${t("review.record")}</a></p>`}</footer>`;
}

/** @param {Acts} act */
function keys(act) {
  const rows = [[t("review.space"), "toggle"], ["← →", "step"], ["Shift ← →", "skip"], ["↑ ↓", "speed"], ["P N", "moment"], ["Home End", "ends"], ["M", "mute"], ["?", "list"], ["Esc", "close"]];
  return html`<section class="keys" role="dialog" aria-label=${t("review.keys")}><h2>${t("review.keys")}</h2><dl>${rows.map(([k, w]) => html`<div><dt><kbd>${k}</kbd></dt><dd>${t(`review.key.${w}`)}</dd></div>`)}</dl><button @click=${() => act.do("close")}>${t("review.close")}</button></section>`;
}
