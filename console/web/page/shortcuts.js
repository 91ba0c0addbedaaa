// SPDX-License-Identifier: Apache-2.0

// Which keys mean something on which page, and the order of the pages in the
// help. A key stands here beside the name of its phrase, help.key.NAME.

/** @typedef {{key: string, name: string, sim?: boolean}} Shortcut sim: on a simulated board alone */

/** @type {Shortcut[]} */
const everywhere = [{ key: "?", name: "help" }, { key: "Esc", name: "close" }];
/** @type {Shortcut[]} */
const contacts = [{ key: "B", name: "bulb", sim: true }, { key: "G", name: "step", sim: true }, { key: "T", name: "taste", sim: true }];

/** Keys of a page beside those of every page. @type {Record<string, Shortcut[]>} */
const own = {
  bench: [
    { key: "G", name: "go_on" }, { key: "A", name: "aloud" }, { key: "F", name: "touched" }, { key: "H", name: "hood_off" }, { key: "M", name: "no_mist" },
    { key: "C", name: "count" }, { key: "S", name: "stop" }, { key: "Q", name: "abandon" }, { key: "K", name: "park" }, { key: "1", name: "take_up" },
    { key: "D", name: "distance" }, { key: "P", name: "proof" }, { key: "N", name: "next" }, contacts[0], contacts[2],
  ].filter((k) => k !== undefined),
  inputs: contacts,
};

/** Pages of the help, in the order in which a newcomer meets them. */
export const pages = ["start", "bench", "wearer", "gallery", "drill", "day", "people", "facepieces", "kit", "records", "review", "insight", "inputs", "settings"];

/**
 * The keys of a page.
 * @param {string} page
 * @param {boolean} sim
 * @returns {Shortcut[]}
 */
export const keysOf = (page, sim) => [...((Object.hasOwn(own, page) && own[page]) || []), ...everywhere].filter((k) => sim || !k.sim);

/**
 * The help's section for an address of the box.
 * @param {string} path
 */
export function pageOfPath(path) {
  const first = path.split("/")[1] ?? "";
  return first === "" ? "bench" : pages.includes(first) ? first : "";
}
