// SPDX-License-Identifier: Apache-2.0

// Parts that several screens share.

import { html, nothing } from "./vendor/lit-html.js";

/**
 * A sentence; what stands between stars is emphasised.
 * @param {string} text
 */
export function sentence(text) {
  return text.split("*").map((part, i) => (i % 2 ? html`<em>${part}</em>` : part));
}

/** @param {string|undefined} why */
export function practice(why) {
  return why ? html`<p class="practice"><strong>Practice</strong> <span>${why}: not a test record</span></p>` : nothing;
}

/** @param {string} here */
export function nav(here) {
  const pages = [
    ["/bench", "Bench"], ["/wearer", "Wearer"], ["/gallery", "Gallery"], ["/day", "Day"], ["/people", "People"], ["/facepieces", "Facepieces"], ["/kit", "Kit"],
    ["/records", "Records"], ["/insight", "Insight"], ["/inputs", "Inputs"], ["/settings", "Settings"],
  ];
  return html`<nav aria-label="Pages">${pages.map(
    ([href, name]) => html`<a href=${href} aria-current=${href === here ? "page" : nothing}>${name}</a>`,
  )}</nav>`;
}

/** @param {{word: string, ok: boolean}[]} health */
export function healthLine(health) {
  return html`<ul class="health" aria-label="State of the box">${health.map(
    (h) => html`<li class=${h.ok ? "" : "bad"}>${h.ok ? nothing : html`<span aria-hidden="true">! </span>`}${h.word}</li>`,
  )}</ul>`;
}

/** @param {string} problem */
export function problemLine(problem) {
  return problem ? html`<p class="problem" role="alert">${problem}</p>` : nothing;
}
