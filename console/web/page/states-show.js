// SPDX-License-Identifier: Apache-2.0

// Lets a test step through the states of a reference page, one after another
// and in every language, without loading the page anew.

import { direction, load, use } from "./lang.js";
import { render } from "./vendor/lit-html.js";

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
