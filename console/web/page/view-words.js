// SPDX-License-Identifier: Apache-2.0

// A phrase with parts of a screen put in: a name that is shown apart, a link, a
// figure in bold. Pure.

import { html } from "./vendor/lit-html.js";
import { t } from "./lang.js";

/**
 * A phrase by key. Values that are views are put in where their names stand;
 * what stands between stars is emphasised.
 * @param {string} key
 * @param {Record<string, unknown>} values
 * @param {(part: unknown) => unknown} [mark] what stars make of a part
 */
export function rich(key, values, mark = (part) => html`<em>${part}</em>`) {
  /** @type {import("./lang.js").Values} */
  const plain = {};
  for (const [name, v] of Object.entries(values)) if (typeof v === "number") plain[name] = v;
  return t(key, plain).split("*").map((part, i) => {
    const view = part.split(/\{(\w+)\}/).map((piece, j) => (j % 2 ? (Object.hasOwn(values, piece) ? values[piece] : `{${piece}}`) : piece));
    return i % 2 ? mark(view) : view;
  });
}

/** @param {unknown} part */
export const bold = (part) => html`<b>${part}</b>`;

/** @param {unknown} part */
export const strong = (part) => html`<strong>${part}</strong>`;
