// SPDX-License-Identifier: Apache-2.0

// The house: its rules, its backups, what may go, the key of its evidence, and
// what this program is. It shows what the box says and asks before what cannot
// be undone.

import { html, nothing } from "./vendor/lit-html.js";
import { size, when } from "./state-record.js";
import { filledIn, loading, office, textOf } from "./view-office.js";
import { backups, licences, limits, qualities } from "./words-desk.js";
import { lookUp } from "./words.js";

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
 */
/** @typedef {import("./view-office.js").OfficeActs & {choose: (rules: string) => void, save: (p: Policy) => void, look: () => void, type: (text: string) => void, drop: () => void, where: (w: Ui["where"]) => void, see: (v: boolean) => void, back: (passphrase: string, again: string, folder: string) => void, restore: (passphrase: string, file: File|null) => void, copy: (text: string, what: string) => void}} Acts */

/** The fewest signs of a passphrase that the box takes. */
export const leastPassphrase = 12;

/** @param {import("./view-office.js").Office} o @param {Ui} ui @param {Acts} act */
export function settings(o, ui, act) {
  return office({ here: "/settings", title: "Settings", cls: "settings" }, o, act, html`
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
    return html`<section class="first" aria-labelledby="h-first"><h2 id="h-first">The backup is in</h2>
      <p class="say">${r.runs} ${r.runs === 1 ? "run" : "runs"} and all that stands around them are on this box.</p>
      ${r.restart ? html`<p class="notice"><strong>Start the box again now.</strong> Until then it goes on with what it held before.</p>` : nothing}
      <p>Then erase again who was erased after that backup was made, and confirm the clock.</p></section>`;
  }
  return html`<section class="first" aria-labelledby="h-first"><h2 id="h-first">This box is empty</h2>
    <p>If it takes the place of another, bring that one's backup in now, before the first entry. It works only while nothing is on the box. A new site goes on without it: begin with <a href="/people">People</a>, <a href="/facepieces">Facepieces</a> and <a href="/kit">Kit</a>.</p>
    <form class="sheet-form" aria-label="Bring a backup in" @submit=${(/** @type {Event} */ e) => {
      const f = filledIn(e);
      const file = f.get("file");
      act.restore(String(f.get("passphrase") ?? ""), file instanceof File ? file : null);
    }}>
      <label class="field"><span>Backup <small>the file ends in .age or .backup</small></span><input name="file" type="file" required></label>
      <label class="field"><span>Its passphrase</span><input name="passphrase" type=${ui.visible ? "text" : "password"} required maxlength="200" autocomplete="off" spellcheck="false"></label>
      <div class="row wide"><button class="primary" ?disabled=${o.working}>Bring it in<small>it is checked in full first</small></button>${eye(ui, act)}</div>
    </form></section>`;
}

/** @param {Ui} ui @param {Acts} act */
function eye(ui, act) {
  return html`<label class="option eye"><input type="checkbox" .checked=${ui.visible} @change=${(/** @type {Event} */ e) => act.see(/** @type {HTMLInputElement} */ (e.target).checked)}><span>Show the passphrase</span></label>`;
}

/** @param {import("./view-office.js").Office} o @param {Ui} ui @param {Acts} act */
function house(o, ui, act) {
  const p = ui.policy;
  if (p === null) return html`<section aria-labelledby="h-house"><h2 id="h-house">Rules of the house</h2>${o.problem ? html`<p class="small">They could not be read.</p>` : loading("Reading the rules of the house.")}</section>`;
  const lim = limits[ui.rules];
  const number = (/** @type {string} */ v) => Math.round(Number(v)) || 0;
  return html`<section aria-labelledby="h-house"><h2 id="h-house">Rules of the house</h2>
    <p class="small">They may ask for more than the rules, never for less.</p>
    <form class="house" @submit=${(/** @type {Event} */ e) => {
      const f = filledIn(e);
      act.save({ rules: textOf(f, "rules"), retest_months: number(textOf(f, "retest")), keep_months: number(textOf(f, "keep")), site: textOf(f, "site"), hoods: number(textOf(f, "hoods")) });
    }}>
      <fieldset class="field"><legend>Rules, where a person has none of their own</legend><div class="either">${ui.choices.map(
        (r) => html`<label class="option"><input type="radio" name="rules" value=${r.id} required .checked=${ui.rules === r.id} @change=${() => act.choose(r.id)}><span>${r.label}</span></label>`,
      )}</div></fieldset>
      <label class="field"><span>Test again after <small>months</small></span><input name="retest" type="number" inputmode="numeric" min="0" max=${lim?.retest || 120} .value=${String(p.retest_months)} aria-describedby="d-retest"></label>
      <p class="limit" id="d-retest">${lim ? html`<b>${lim.retest ? `${lim.retest} at most.` : "The rule sets none."}</b> ${lim.retestWords} ` : nothing}${lim?.retest ? "0: as the rule says." : lim ? "0: nobody falls due by time alone." : "Choose the rules first."}</p>
      <label class="field"><span>Keep records for <small>months</small></span><input name="keep" type="number" inputmode="numeric" min="0" max="1200" .value=${String(p.keep_months)} aria-describedby="d-keep"></label>
      <p class="limit" id="d-keep">${lim ? html`<b>${lim.keep ? `${lim.keep} at least.` : "The rule sets no months."}</b> ${lim.keepWords} ` : nothing}0: as the rule says.</p>
      <label class="field"><span>Hoods in use at once</span><input name="hoods" type="number" inputmode="numeric" min="0" max="10" .value=${String(p.hoods)} aria-describedby="d-hoods"></label>
      <p class="limit" id="d-hoods">For the plan of a day. Up to ten; 0: not said.</p>
      <label class="field whole"><span>Employer and place <small>stands on printed records and cards</small></span><input name="site" type="text" maxlength="400" autocomplete="off" .value=${p.site}></label>
      <div class="row whole"><button class="primary" ?disabled=${o.working}>Keep these rules<small>every due day is reckoned anew</small></button></div>
    </form></section>`;
}

/** @param {import("./view-office.js").Office} o @param {Ui} ui @param {Acts} act */
function retention(o, ui, act) {
  const r = ui.retention;
  const n = r?.people.length ?? 0;
  return html`<section aria-labelledby="h-keep"><h2 id="h-keep">People past their time</h2>
    ${r === null
      ? html`<p class="small">Who has left, and whose records all are older than rule and house ask for, may be erased: the name goes for real, the facts of the runs stay without it. Nothing goes by itself.</p><div class="row"><button @click=${act.look} ?disabled=${o.working}>Look who may go<small>nothing goes by looking</small></button></div>`
      : html`<p>${r.months ? `This house keeps records for ${r.months} months.` : "Records are kept as each rule set says."} ${r.count ? html`<b>${r.count} ${r.count === 1 ? "record is" : "records are"} past that${r.runs[0]?.at ? `, the oldest of ${r.runs[0].at.slice(0, 10)}` : ""}.</b>` : "No record is past that."} The last record of somebody who still works here is kept, however old.</p>
        ${n === 0
          ? html`<p>Nobody may be erased today.</p>`
          : html`<div class="scroll going-list" tabindex="0" role="group" aria-label="People who may be erased"><table><thead><tr><th scope="col">Person</th><th scope="col">Left</th><th scope="col">Last test</th></tr></thead><tbody>${r.people.map((p) => html`<tr><th scope="row">${[p.name, p.number].filter(Boolean).join(", ") || p.person}</th><td>${p.left}</td><td>${p.lastRun || "none"}</td></tr>`)}</tbody></table></div>
          ${r.more ? html`<p class="small">There are more; they come when these are gone.</p>` : nothing}
          <p class="notice"><strong>This cannot be undone.</strong> Backups and papers made earlier still hold the names: those are yours to destroy.</p>
          <label class="field"><span>Type <b>${n}</b> to erase everybody above</span><input type="text" inputmode="numeric" autocomplete="off" .value=${ui.typed} @input=${(/** @type {Event} */ e) => act.type(/** @type {HTMLInputElement} */ (e.target).value)}></label>
          <div class="row"><button class="stop" ?disabled=${ui.typed.trim() !== String(n) || o.working} @click=${act.drop}>Erase<small>${n} ${n === 1 ? "person" : "people"}, for good</small></button></div>`}`}
  </section>`;
}

/** @param {import("./view-office.js").Office} o @param {Ui} ui @param {Acts} act */
function backup(o, ui, act) {
  return html`<section aria-labelledby="h-back"><h2 id="h-back">Backup</h2>
    ${ui.made
      ? html`<p class="say"><span aria-hidden="true">● </span>Proven, ${size(ui.made.bytes)}.</p><p><code>${ui.made.file}</code></p>`
      : ui.last
        ? html`<p><span aria-hidden="true">● </span>Last one proven from this browser: <b>${when(ui.last.at)}</b>, ${size(ui.last.bytes)}, ${ui.last.where}.</p>`
        : html`<p><span aria-hidden="true">○ </span>None was made from this browser yet.</p>`}
    <form class="backup" aria-label="Make a backup" @submit=${(/** @type {Event} */ e) => {
      const f = filledIn(e);
      act.back(String(f.get("passphrase") ?? ""), String(f.get("again") ?? ""), textOf(f, "folder"));
    }}>
      <label class="field"><span>Passphrase <small>${leastPassphrase} signs or more, best four words or more</small></span><input name="passphrase" type=${ui.visible ? "text" : "password"} minlength=${leastPassphrase} maxlength="200" required autocomplete="off" spellcheck="false"></label>
      <label class="field"><span>The same once more</span><input name="again" type=${ui.visible ? "text" : "password"} maxlength="200" required autocomplete="off" spellcheck="false" aria-invalid=${ui.mismatch ? "true" : "false"} aria-describedby="d-again"></label>
      <p class="why" id="d-again" role="alert">${ui.mismatch}</p>
      <div class="row">${eye(ui, act)}</div>
      <fieldset class="field"><legend>Where to</legend><div class="either"><label class="option"><input type="radio" name="where" value="download" .checked=${ui.where === "download"} @change=${() => act.where("download")}><span>To this screen's machine</span></label><label class="option"><input type="radio" name="where" value="folder" .checked=${ui.where === "folder"} @change=${() => act.where("folder")}><span>To a folder of the box</span></label></div></fieldset>
      ${ui.where === "folder" ? html`<label class="field"><span>Folder <small>a USB stick's, on the box. Two generations are kept there: this one and the one before.</small></span><input name="folder" type="text" maxlength="400" required autocomplete="off" spellcheck="false" placeholder="/media/stick"></label>` : nothing}
      <div class="row"><button class="primary" ?disabled=${o.working}>Make a backup<small>and prove it by a restore</small></button></div>
    </form>
    <details><summary>What a backup is, and is not</summary><ul class="points">${[...backups.is, ...backups.not].map((t) => html`<li>${t}</li>`)}</ul></details></section>`;
}

/** @param {Ui} ui @param {Acts} act */
function key(ui, act) {
  const h = ui.head;
  return html`<section aria-labelledby="h-key"><h2 id="h-key">Key of the evidence</h2>
    ${h
      ? html`<p class="small">This box signs its records with a key that never leaves it. With the public half below anybody can check a card or a record, on any machine. Give it to who checks, by a way that you trust.</p>
        <label class="field"><span>Public key</span><textarea readonly rows="2" spellcheck="false" .value=${h.key}></textarea></label>
        <div class="row"><button @click=${() => act.copy(h.key, "The public key")}>Copy the key</button><button @click=${() => act.copy(h.note, "The signed head")}>Copy the signed head</button></div>
        <p class="small">Last head: ${h.size} entries, ${when(h.wall)}; ${lookUp(qualities, h.quality)}.</p>`
      : html`<p class="small">${ui.noHead || "Asking the box for its key."}</p>`}
  </section>`;
}

/** @param {Ui} ui */
function about(ui) {
  return html`<section aria-labelledby="h-about"><h2 id="h-about">About</h2>
    <p>tallyhood ${ui.version}</p>
    <table><tbody>${licences.map(([what, how]) => html`<tr><th scope="row">${what}</th><td>${how}</td></tr>`)}</tbody></table>
    <p class="small">Whole texts: <a href="/page/vendor/LICENSE">lit-html</a>; the others lie beside the program. It comes without any warranty. Local law and a competent person prevail over it.</p></section>`;
}
