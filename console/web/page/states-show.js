// SPDX-License-Identifier: Apache-2.0

// Lets a test step through the states of a reference page, one after another
// and in every language, without loading the page anew.

import { direction, load, use } from "./lang.js";
import { html, render } from "./vendor/lit-html.js";

/**
 * @param {string[]} areas
 * @param {Record<string, () => unknown>} all
 * @param {HTMLElement} place
 */
export function showing(areas, all, place) {
  Object.assign(globalThis, {
    stateNames: Object.keys(all),
    /** @param {string} lang */
    async speakStates(lang) {
      await load(lang, areas);
      use(lang);
      document.documentElement.lang = lang;
      document.documentElement.dir = direction(lang);
    },
    /** @param {string} name */
    showState(name) {
      render(all[name]?.(), place);
    },
  });
}

/**
 * Draws all states under each other, or the one that ?only= names, and again
 * at each new size.
 * @param {() => Record<string, () => unknown>} screens
 * @param {HTMLElement} place
 */
export function drawing(screens, place) {
  const only = new URLSearchParams(location.search).get("only");
  function draw() {
    const all = screens();
    const one = only === null ? undefined : all[only];
    render(
      one ? one() : html`<div class="sheet plain states"><h1>Every state</h1>${Object.entries(all).map(
        ([name, view]) => html`<h2><a href=${`?only=${name}`}>${name}</a></h2><div class="frame">${view()}</div>`,
      )}</div>`,
      place,
    );
  }
  draw();
  addEventListener("resize", draw);
}
