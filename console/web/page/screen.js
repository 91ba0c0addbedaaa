// SPDX-License-Identifier: Apache-2.0

// The size of the screen as the views know it, and the element they draw in.

import { helpKey } from "./help-key.js";
import { load, spoken, t } from "./lang.js";

/** The Bench has the key for itself; the wearer is led nowhere. */
const noHelpKey = ["/", "/bench", "/wearer", "/help"];

const low = matchMedia("(max-height: 560px)");
const narrow = matchMedia("(max-width: 620px)");

/** @returns {"wide"|"low"|"narrow"} */
export function size() {
  return narrow.matches ? "narrow" : low.matches ? "low" : "wide";
}

/** Names the page in its language: in the browser's tab, its history and its bookmarks. @param {string} title */
export function titled(title) {
  document.title = `${title} · tallyhood`;
}

/**
 * The element that the page draws in. From then on the key "?" opens its help.
 * @param {string} [title] key of the page's name
 * @returns {HTMLElement}
 */
export function root(title = "") {
  const el = document.getElementById("page");
  if (!el) throw new Error("the page has no place to draw in");
  if (title) titled(t(title));
  if (!noHelpKey.includes(location.pathname)) {
    helpKey();
    wayBack();
  }
  return el;
}

/** On the pages that First run leads to: the way back to it. */
async function wayBack() {
  try {
    if (location.pathname === "/start" || location.pathname === "/gallery" || sessionStorage.getItem("tallyhood.start") !== "1") return;
    await load(spoken(), ["start"]);
  } catch {
    return; // the browser's own way back is left
  }
  const link = document.createElement("a");
  link.href = "/start";
  link.className = "way-back";
  link.textContent = t("start.back");
  document.body.append(link);
}

/**
 * Draws now, then at least five times a second. A control that went away or was
 * switched off under the finger leaves the keyboard on the page's main part:
 * never on nothing, and never on another control.
 * @param {() => void} draw
 */
export function drawing(draw) {
  let inside = false; // a control of the page had the keyboard last
  addEventListener("focusin", () => { inside = true; });
  const again = () => {
    draw();
    if (inside && document.hasFocus() && document.activeElement === document.body) toMain();
  };
  again();
  setInterval(again, 200);
  addEventListener("resize", again);
}

/** Gives the keyboard to the page's main part. */
export function toMain() {
  const main = document.querySelector("main");
  if (!main) return;
  main.tabIndex = -1;
  main.focus({ preventScroll: true });
}

/**
 * @param {string} url
 * @returns {Promise<unknown>}
 */
export async function getJSON(url) {
  const answer = await fetch(url, { headers: { Accept: "application/json" } });
  if (!answer.ok) throw new Error(`${url}: ${answer.status} ${answer.statusText}`);
  return answer.json();
}
