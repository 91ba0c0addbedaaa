// SPDX-License-Identifier: Apache-2.0

// The house: its rules, its backups, what may go, the key of its evidence, and
// what this program is. It shows what the box says and asks before what cannot
// be undone.

import { html, nothing } from "./vendor/lit-html.js";
import { dayIn, t } from "./lang.js";
import { size, when } from "./state-record.js";
import { filledIn, loading, office, textOf } from "./view-office.js";
import { bold, rich } from "./view-words.js";
import { backups, licences, limits, limitWords, qualities } from "./words-desk.js";
import { lookUp, ruleName } from "./words.js";

/** @typedef {import("./desk.js").Policy} Policy */

/**
 * @typedef {object} Ui
 * @property {Policy|null} policy
 * @property {string} rules      rule set that is chosen in the form
 * @property {{id: string, label: string}[]} choices
 * @property {import("./desk.js").Head|null} head
 * @property {string} noHead     why there is none, in words
 * @property {import("./desk.js").Retention|null} retention  null: not looked yet
 * @property {string} typed      to confirm what goes
 * @property {import("./desk.js").BackedUp|null} made         the backup that was just made
 * @property {{at: string, where: string, bytes: number}|null} last  the last one proven from this browser
 * @property {"download"|"folder"} where
 * @property {string} mismatch   what is wrong with the passphrases
 * @property {boolean} visible   the passphrase can be read
 * @property {boolean} empty     the box has neither people nor records
 * @property {import("./desk.js").Restored|null} restored
 * @property {string} version
 * @property {import("./desk.js").Generation[]|null} backups  newest first; null: the box does not tell
 * @property {import("./desk.js").BroughtIn[]} restores  that the journal comes from, newest first
 */
/** @typedef {import("./view-office.js").OfficeActs & {choose: (rules: string) => void, save: (p: Policy) => void, look: () => void, type: (text: string) => void, drop: () => void, where: (w: Ui["where"]) => void, see: (v: boolean) => void, back: (passphrase: string, again: string, folder: string) => void, restore: (passphrase: string, file: File|null) => void, copy: (text: string, what: string) => void}} Acts */

/** The fewest signs of a passphrase that the box takes. */
export const leastPassphrase = 12;

/** @param {import("./view-office.js").Office} o @param {Ui} ui @param {Acts} act */
export function settings(o, ui, act) {
  return office({ here: "/settings", title: t("desk.settings.title"), cls: "settings" }, o, act, html`
    ${ui.empty || ui.restored ? first(o, ui, act) : nothing}
    <div class="two">
      <div class="stack">${house(o, ui, act)}${retention(o, ui, act)}</div>
      <div class="stack">${backup(o, ui, act)}${key(ui, act)}${about(ui)}</div>
    </div>`);
}

/** @param {import("./view-office.js").Office} o @param {Ui} ui @param {Acts} act */
function first(o, ui, act) {
  const r = ui.restored;
  if (r) {
    return html`<section class="first" aria-labelledby="h-first"><h2 id="h-first">${t("desk.settings.backup_in")}</h2>
      <p class="say">${t("desk.settings.restored", { n: r.runs })}</p>
      ${r.restart ? html`<p class="notice"><strong>${t("desk.settings.start_again")}</strong> ${t("desk.settings.until_then")}</p>` : nothing}
      ${r.erased ? html`<p>${t("desk.settings.erased_again", { n: r.erased })}</p>` : nothing}
      ${r.recalled ? html`<p>${t("desk.settings.recalled_again", { n: r.recalled })}</p>` : nothing}
      ${r.later === "taken_over" ? nothing : html`<p class="notice">${t("desk.settings.later_unknown")} ${t("desk.settings.later_do")}</p>`}
      <p>${t("desk.settings.erase_again")}</p></section>`;
  }
  return html`<section class="first" aria-labelledby="h-first"><h2 id="h-first">${t("desk.settings.empty")}</h2>
    <p>${rich("desk.settings.takes_place", { people: html`<a href="/people">${t("run.nav.people")}</a>`, facepieces: html`<a href="/facepieces">${t("run.nav.facepieces")}</a>`, kit: html`<a href="/kit">${t("run.nav.kit")}</a>` })}</p>
    <form class="sheet-form" aria-label=${t("desk.settings.bring_aria")} @submit=${(/** @type {Event} */ e) => {
      const f = filledIn(e);
      const file = f.get("file");
      act.restore(String(f.get("passphrase") ?? ""), file instanceof File ? file : null);
    }}>
      <label class="field"><span>${t("desk.settings.backup")} <small>${t("desk.settings.backup_file")}</small></span><input name="file" type="file" required></label>
      <label class="field"><span>${t("desk.settings.its_passphrase")}</span><input name="passphrase" type=${ui.visible ? "text" : "password"} required maxlength="200" autocomplete="off" spellcheck="false"></label>
      <div class="row wide"><button class="primary" ?disabled=${o.working}>${t("desk.settings.bring")}<small>${t("desk.settings.checked_first")}</small></button>${eye(ui, act)}</div>
      <p class="small wide">${t("desk.settings.name_noted")}</p>
    </form></section>`;
}

/** @param {Ui} ui @param {Acts} act */
function eye(ui, act) {
  return html`<label class="option eye"><input type="checkbox" .checked=${ui.visible} @change=${(/** @type {Event} */ e) => act.see(/** @type {HTMLInputElement} */ (e.target).checked)}><span>${t("desk.settings.show_passphrase")}</span></label>`;
}

/** @param {import("./view-office.js").Office} o @param {Ui} ui @param {Acts} act */
function house(o, ui, act) {
  const p = ui.policy;
  if (p === null) return html`<section aria-labelledby="h-house"><h2 id="h-house">${t("desk.settings.house")}</h2>${o.problem ? html`<p class="small">${t("desk.settings.unread")}</p>` : loading(t("desk.settings.reading"))}</section>`;
  const lim = limits[ui.rules];
  const number = (/** @type {string} */ v) => Math.round(Number(v)) || 0;
  return html`<section aria-labelledby="h-house"><h2 id="h-house">${t("desk.settings.house")}</h2>
    <p class="small">${t("desk.settings.may_ask")}</p>
    <form class="house" @submit=${(/** @type {Event} */ e) => {
      const f = filledIn(e);
      act.save({ rules: textOf(f, "rules"), retest_months: number(textOf(f, "retest")), keep_months: number(textOf(f, "keep")), site: textOf(f, "site"), hoods: number(textOf(f, "hoods")) });
    }}>
      <fieldset class="field"><legend>${t("desk.settings.legend")}</legend><div class="either">${ui.choices.map(
        (r) => html`<label class="option"><input type="radio" name="rules" value=${r.id} required .checked=${ui.rules === r.id} @change=${() => act.choose(r.id)}><span>${ruleName(r.label)}</span></label>`,
      )}</div></fieldset>
      <label class="field"><span>${t("desk.settings.again_after")} <small>${t("desk.settings.months")}</small></span><input name="retest" type="number" inputmode="numeric" min="0" max=${lim?.retest || 120} .value=${String(p.retest_months)} aria-describedby="d-retest"></label>
      <p class="limit" id="d-retest">${lim ? html`<b>${lim.retest ? t("desk.settings.at_most", { n: lim.retest }) : t("desk.settings.sets_none")}</b> ${limitWords(ui.rules).retest} ` : nothing}${lim?.retest ? t("desk.settings.as_rule") : lim ? t("desk.settings.no_time") : t("desk.settings.choose_first")}</p>
      <label class="field"><span>${t("desk.settings.keep_for")} <small>${t("desk.settings.months")}</small></span><input name="keep" type="number" inputmode="numeric" min="0" max="1200" .value=${String(p.keep_months)} aria-describedby="d-keep"></label>
      <p class="limit" id="d-keep">${lim ? html`<b>${lim.keep ? t("desk.settings.at_least", { n: lim.keep }) : t("desk.settings.sets_no_months")}</b> ${limitWords(ui.rules).keep} ` : nothing}${t("desk.settings.as_rule")}</p>
      <label class="field"><span>${t("desk.settings.hoods")}</span><input name="hoods" type="number" inputmode="numeric" min="0" max="10" .value=${String(p.hoods)} aria-describedby="d-hoods"></label>
      <p class="limit" id="d-hoods">${t("desk.settings.hoods_limit")}</p>
      <label class="field whole"><span>${t("desk.settings.employer")} <small>${t("desk.settings.employer_hint")}</small></span><input name="site" type="text" maxlength="400" autocomplete="off" .value=${p.site}></label>
      <div class="row whole"><button class="primary" ?disabled=${o.working}>${t("desk.settings.keep_rules")}<small>${t("desk.settings.reckoned")}</small></button></div>
    </form></section>`;
}

/** @param {import("./view-office.js").Office} o @param {Ui} ui @param {Acts} act */
function retention(o, ui, act) {
  const r = ui.retention;
  const n = r?.people.length ?? 0;
  return html`<section aria-labelledby="h-keep"><h2 id="h-keep">${t("desk.settings.past")}</h2>
    ${r === null
      ? html`<p class="small">${t("desk.settings.who_may")}</p><div class="row"><button @click=${act.look} ?disabled=${o.working}>${t("desk.settings.look_who")}<small>${t("desk.settings.nothing_goes")}</small></button></div>`
      : html`<p>${r.months ? t("desk.settings.keeps_months", { n: r.months }) : t("desk.settings.keeps_rule")} ${r.count ? html`<b>${r.runs[0]?.at ? t("desk.settings.past_oldest", { n: r.count, day: dayIn(r.runs[0].at.slice(0, 10)) }) : t("desk.settings.past_that", { n: r.count })}</b>` : t("desk.settings.none_past")} ${t("desk.settings.last_kept")}</p>
        ${n === 0
          ? html`<p>${t("desk.settings.nobody_may")}</p>`
          : html`<div class="scroll going-list" tabindex="0" role="group" aria-label=${t("desk.settings.may_erase")}><table><thead><tr><th scope="col">${t("desk.settings.person")}</th><th scope="col">${t("desk.settings.left")}</th><th scope="col">${t("desk.settings.last_test")}</th></tr></thead><tbody>${r.people.map((p) => html`<tr><th scope="row">${[p.name, p.number].filter(Boolean).join(", ") || p.person}</th><td>${dayIn(p.left)}</td><td>${dayIn(p.lastRun) || t("desk.settings.none")}</td></tr>`)}</tbody></table></div>
          ${r.more ? html`<p class="small">${t("desk.settings.more_come")}</p>` : nothing}
          <p class="notice"><strong>${t("desk.settings.no_undo")}</strong> ${t("desk.settings.papers")}</p>
          <label class="field"><span>${rich("desk.settings.type", { n: html`<b>${n}</b>` })}</span><input type="text" inputmode="numeric" autocomplete="off" .value=${ui.typed} @input=${(/** @type {Event} */ e) => act.type(/** @type {HTMLInputElement} */ (e.target).value)}></label>
          <div class="row"><button class="stop" ?disabled=${ui.typed.trim() !== String(n) || o.working} @click=${act.drop}>${t("desk.settings.erase")}<small>${t("desk.settings.for_good", { n })}</small></button></div>`}`}
  </section>`;
}

/** @param {import("./view-office.js").Office} o @param {Ui} ui @param {Acts} act */
function backup(o, ui, act) {
  return html`<section aria-labelledby="h-back"><h2 id="h-back">${t("desk.settings.backup")}</h2>
    ${ui.made
      ? html`<p class="say"><span aria-hidden="true">● </span>${t("desk.settings.proven", { size: size(ui.made.bytes) })}</p><p><code>${ui.made.file}</code></p>`
      : ui.backups !== null
        ? ui.backups.length === 0 ? html`<p><span aria-hidden="true">○ </span>${t("desk.settings.no_backup")}</p>` : nothing
      : ui.last
        ? html`<p><span aria-hidden="true">● </span>${rich("desk.settings.last_proven", { when: when(ui.last.at), size: size(ui.last.bytes), where: ui.last.where }, bold)}</p>`
        : html`<p><span aria-hidden="true">○ </span>${t("desk.settings.none_made")}</p>`}
    ${ui.backups?.length ? generations(ui.backups) : nothing}
    ${ui.restores.length ? restores(ui.restores) : nothing}
    <form class="backup" aria-label=${t("desk.settings.make_aria")} @submit=${(/** @type {Event} */ e) => {
      const f = filledIn(e);
      act.back(String(f.get("passphrase") ?? ""), String(f.get("again") ?? ""), textOf(f, "folder"));
    }}>
      <label class="field"><span>${t("desk.settings.passphrase")} <small>${t("desk.settings.passphrase_hint", { n: leastPassphrase })}</small></span><input name="passphrase" type=${ui.visible ? "text" : "password"} minlength=${leastPassphrase} maxlength="200" required autocomplete="off" spellcheck="false"></label>
      <label class="field"><span>${t("desk.settings.same_again")}</span><input name="again" type=${ui.visible ? "text" : "password"} maxlength="200" required autocomplete="off" spellcheck="false" aria-invalid=${ui.mismatch ? "true" : "false"} aria-describedby="d-again"></label>
      <p class="why" id="d-again" role="alert">${ui.mismatch}</p>
      <div class="row">${eye(ui, act)}</div>
      <fieldset class="field"><legend>${t("desk.settings.where")}</legend><div class="either"><label class="option"><input type="radio" name="where" value="download" .checked=${ui.where === "download"} @change=${() => act.where("download")}><span>${t("desk.settings.to_screen")}</span></label><label class="option"><input type="radio" name="where" value="folder" .checked=${ui.where === "folder"} @change=${() => act.where("folder")}><span>${t("desk.settings.to_folder")}</span></label></div></fieldset>
      ${ui.where === "folder" ? html`<label class="field"><span>${t("desk.settings.folder")} <small>${t("desk.settings.folder_hint")}</small></span><input name="folder" type="text" maxlength="400" required autocomplete="off" spellcheck="false" placeholder="/media/stick"></label>` : nothing}
      <div class="row"><button class="primary" ?disabled=${o.working}>${t("desk.settings.make_aria")}<small>${t("desk.settings.prove")}</small></button></div>
    </form>
    <details><summary>${t("desk.settings.what_is")}</summary><ul class="points">${[...backups.is, ...backups.not].map((x) => html`<li>${x}</li>`)}</ul></details></section>`;
}

/** Restores as they stand in the journal. @param {import("./desk.js").BroughtIn[]} all */
function restores(all) {
  return html`<h3>${t("desk.settings.restores")}</h3><ul class="points">${all.map((r) => {
    const at = when(r.at) || t("desk.settings.day_unknown");
    const clock = r.quality === "" || r.quality === "confirmed" || r.quality === "network" ? at : t("desk.record.moment", { when: at, clock: lookUp(qualities, r.quality) });
    return html`<li>${t(r.by ? "desk.settings.restore_was" : "desk.settings.restore_unnamed", { when: clock, by: r.by, box: r.box, made: when(r.made) || t("desk.settings.day_unknown"), n: r.entries })}${r.later === "taken_over" ? nothing : html`<br>${t("desk.settings.later_unknown")} ${t("desk.settings.later_do")}`}</li>`;
  })}</ul><p class="small">${t("desk.settings.restore_means")}</p>`;
}

/** @param {import("./desk.js").Generation[]} all */
function generations(all) {
  return html`<div class="scroll" tabindex="0" role="group" aria-label=${t("desk.settings.backups")}><table><caption class="quiet">${t("desk.settings.backups")}</caption>
    <thead><tr><th scope="col">${t("desk.settings.proven_at")}</th><th scope="col">${t("desk.settings.backup_file_of")}</th><th scope="col">${t("desk.settings.holds")}</th></tr></thead>
    <tbody>${all.map((g) => html`<tr><th scope="row">${when(g.proven)}${g.made.slice(0, 16) === g.proven.slice(0, 16) ? nothing : html`<small>${t("desk.settings.begun", { when: when(g.made) })}</small>`}</th>
      <td>${g.where ? html`<span aria-hidden="true">${g.here ? "● " : "○ "}</span><bdi>${g.file}</bdi><small>${size(g.bytes)}, ${t(g.here ? "desk.settings.lies_there" : "desk.settings.not_there_now")}</small>` : html`${t("desk.settings.downloaded")}<small>${size(g.bytes)}</small>`}</td>
      <td>${t("desk.settings.entries", { n: g.entries })}<small><code>${g.hash.slice(0, 16)}…</code></small></td></tr>`)}</tbody></table></div>`;
}

/** @param {Ui} ui @param {Acts} act */
function key(ui, act) {
  const h = ui.head;
  return html`<section aria-labelledby="h-key"><h2 id="h-key">${t("desk.settings.key")}</h2>
    ${h
      ? html`<p class="small">${t("desk.settings.key_what")}</p>
        <label class="field"><span>${t("desk.settings.public_key")}</span><textarea readonly rows="2" spellcheck="false" .value=${h.key}></textarea></label>
        <div class="row"><button @click=${() => act.copy(h.key, t("desk.settings.the_key"))}>${t("desk.settings.copy_key")}</button><button @click=${() => act.copy(h.note, t("desk.settings.the_head"))}>${t("desk.settings.copy_head")}</button></div>
        <p class="small">${t("desk.settings.last_head", { n: h.size, when: when(h.wall), quality: lookUp(qualities, h.quality) })}</p>`
      : html`<p class="small">${ui.noHead || t("desk.settings.asking")}</p>`}
  </section>`;
}

/** @param {Ui} ui */
function about(ui) {
  return html`<section aria-labelledby="h-about"><h2 id="h-about">${t("desk.settings.about")}</h2>
    <p>tallyhood ${ui.version}</p>
    <table><tbody>${licences().map(([what, how]) => html`<tr><th scope="row">${what}</th><td>${how}</td></tr>`)}</tbody></table>
    <p class="small">${rich("desk.settings.whole_texts", { link: html`<a href="/page/vendor/LICENSE">lit-html</a>` })}</p></section>`;
}
