// SPDX-License-Identifier: Apache-2.0

// A control that is tapped twice acts once. The second tap of a hurried hand
// would otherwise fall on whatever has come to lie there meanwhile: a count put
// right twice, or a run ended by what was never meant. Stop is exempt: it may be
// pressed as often as anyone likes.

/** Two taps within this time and so near are one. Usual limits of a double tap are 250 to 500 ms (common practice, no source). */
export const doubleMs = 400;
export const doublePx = 24;

/** @typedef {{at: number, x: number, y: number, on: unknown, keyed: boolean, scrolled: number}} Tap keyed: a control was pressed by a key, at no place; scrolled: how far the page was */

/**
 * Whether a tap is the second of two that are one.
 * @param {Tap|null} last
 * @param {Tap} tap
 */
export function doubled(last, tap) {
  if (last === null || tap.at - last.at >= doubleMs || tap.keyed !== last.keyed || tap.scrolled !== last.scrolled) return false;
  return tap.keyed ? tap.on === last.on : Math.hypot(tap.x - last.x, tap.y - last.y) < doublePx;
}

/** From now on the page's controls take two taps as one. */
export function tapOnce() {
  /** @type {Tap|null} */
  let last = null;
  addEventListener(
    "click",
    (e) => {
      const on = e.target instanceof Element ? e.target.closest("button") : null;
      if (on === null || on.classList.contains("stop")) return;
      const tap = { at: e.timeStamp, x: e.clientX, y: e.clientY, on, keyed: e.detail === 0, scrolled: scrollY };
      if (doubled(last, tap)) {
        e.preventDefault();
        e.stopImmediatePropagation();
      }
      last = tap;
    },
    { capture: true },
  );
}
