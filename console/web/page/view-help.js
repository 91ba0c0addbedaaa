// SPDX-License-Identifier: Apache-2.0

// The help: what each page is for, what is done there, what to do when it does
// not go as it should, and its keys. Pure.

import { html, nothing } from "./vendor/lit-html.js";
import { has, t } from "./lang.js";
import { keysOf, pages } from "./shortcuts.js";
import { nav } from "./view-common.js";

/** Phrases KEY.1, KEY.2 and so on, as many as there are. @param {string} key @param {string} [part] */
function numbered(key, part = "") {
  const out = [];
  for (let n = 1; has(`${key}.${n}${part}`); n++) out.push(`${key}.${n}`);
  return out;
}

/** The keys of a page. @param {string} page @param {boolean} sim */
export function shortcuts(page, sim) {
  return html`<h2>${t("help.keys")}</h2><dl>${keysOf(page, sim).map((k) => html`<div><dt><kbd>${k.key}</kbd></dt><dd>${t(`help.key.${k.name}`)}</dd></div>`)}</dl>`;
}

/** What a page is for, and what is done there. @param {string} page */
export function article(page) {
  const ifs = numbered(`help.${page}.if`, ".q");
  return html`<p>${t(`help.${page}.what`)}</p>
    <ol>${numbered(`help.${page}.do`).map((k) => html`<li>${t(k)}</li>`)}</ol>
    ${ifs.length ? html`<dl class="ifs">${ifs.map((k) => html`<dt>${t(`${k}.q`)}</dt><dd>${t(`${k}.a`)}</dd>`)}</dl>` : nothing}`;
}

/**
 * The help of one page, over that page.
 * @param {string} page empty for a page that has no section
 * @param {boolean} sim
 * @param {() => void} close
 */
export function panel(page, sim, close) {
  return html`<div class="help-panel">${page ? html`<h1 tabindex="-1" autofocus>${t(`help.${page}.title`)}</h1>${article(page)}` : html`<h1 tabindex="-1" autofocus>${t("help.title")}</h1>`}
    ${shortcuts(page, sim)}
    <p><a href=${page ? `/help#${page}` : "/help"}>${t("help.all")}</a></p>
    <button @click=${close}>${t("help.close")} <kbd>Esc</kbd></button></div>`;
}

/** The page Help. @param {boolean} sim */
export function help(sim) {
  return html`<main class="sheet help">
    <header class="head"><h1>${t("help.title")}</h1>${nav("/help")}</header>
    <p class="say">${t("help.about")}</p>
    <nav class="contents" aria-label=${t("help.contents")}>${pages.map((p) => html`<a href=${`#${p}`}>${t(`help.${p}.title`)}</a>`)}</nav>
    <p class="refused">${t("help.care")}</p>
    ${pages.map(
      (p) => html`<section id=${p} tabindex="-1" aria-labelledby=${`h-${p}`}><h2 id=${`h-${p}`}>${t(`help.${p}.title`)}</h2>
        <div class="two"><div>${article(p)}${p === "wearer" ? nothing : html`<p><a href=${`/${p}`}>${t("help.go", { page: t(`help.${p}.title`) })}</a></p>`}</div><div class="shortcuts">${shortcuts(p, sim)}</div></div></section>`,
    )}
  </main>`;
}
