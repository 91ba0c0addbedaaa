// SPDX-License-Identifier: Apache-2.0

// The size of the screen as the views know it, and the element they draw in.

const low = matchMedia("(max-height: 560px)");
const narrow = matchMedia("(max-width: 620px)");

/** @returns {"wide"|"low"|"narrow"} */
export function size() {
  return narrow.matches ? "narrow" : low.matches ? "low" : "wide";
}

/** @returns {HTMLElement} */
export function root() {
  const el = document.getElementById("page");
  if (!el) throw new Error("the page has no place to draw in");
  return el;
}

/**
 * Draws now, then at least five times a second.
 * @param {() => void} draw
 */
export function drawing(draw) {
  draw();
  setInterval(draw, 200);
  addEventListener("resize", draw);
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
