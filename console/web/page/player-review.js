// SPDX-License-Identifier: Apache-2.0

// Runs the player of a review in a place of the page, whatever brought the
// review and its sounds. It must not fetch anything itself.

import { render } from "./vendor/lit-html.js";
import { cuesBetween, factTimes, faster, keyed, moments, player, seek, step, tick, toggle } from "./state-review.js";
import { review } from "./view-review.js";

/** @typedef {import("./state-review.js").Player} Player */
/** @typedef {(cue: string) => Promise<ArrayBuffer|null>} Sounds gives the WAV file of a tone */

/** How far Shift and an arrow skip, in milliseconds. */
const skip = 5000;
/** A page is drawn at most so often while it plays, in milliseconds. */
const pace = 40;

/**
 * @param {HTMLElement} place
 * @param {() => "wide"|"low"|"narrow"} size
 * @param {boolean} file
 * @param {Sounds|null} sounds
 */
export function reviewer(place, size, file, sounds) {
  /** @type {Player|null} */
  let p = null;
  /** @type {import("./view-review.js").Ui} */
  const ui = { size: size(), keys: false, file, silent: sounds === null, problem: "", said: "" };
  const tones = sounds && sounding(sounds);
  let last = 0;
  let drawn = 0;

  const draw = () => {
    ui.size = size();
    document.body.classList.toggle("practising", p?.tracks.some((t) => t.review.practice !== "") ?? false);
    render(review(p, ui, act), place);
  };
  /** @param {Player} to */
  const go = (to) => {
    const starts = to.playing && !p?.playing;
    p = to;
    if (starts) {
      tones?.wake([...new Set(to.tracks.flatMap((t) => t.review.cues.map((c) => c.cue)))]);
      last = performance.now();
      requestAnimationFrame(frame);
    }
    draw();
  };
  /** @param {number} now */
  const frame = (now) => {
    if (!p?.playing) return;
    const before = p.at;
    p = tick(p, now - last);
    last = now;
    if (!p.muted) for (const c of cuesBetween(p, before, p.at)) tones?.play(c.cue);
    if (now - drawn >= pace || !p.playing) {
      drawn = now;
      draw();
    }
    if (p.playing) requestAnimationFrame(frame);
  };
  /** @param {ReturnType<typeof keyed>} what */
  const does = (what) => {
    if (p === null) return;
    switch (what) {
      case "toggle":
        return go(toggle(p));
      case "back":
        return go(step(p, factTimes(p), -1));
      case "on":
        return go(step(p, factTimes(p), 1));
      case "before":
        return go(step(p, moments(p).map((m) => m.at), -1));
      case "next":
        return go(step(p, moments(p).map((m) => m.at), 1));
      case "rewind":
        return go(seek(p, p.at - skip));
      case "forward":
        return go(seek(p, p.at + skip));
      case "faster":
        return go(faster(p, 1));
      case "slower":
        return go(faster(p, -1));
      case "start":
        return go(seek(p, 0));
      case "end":
        return go({ ...seek(p, p.length), playing: false });
      case "mute":
        return go({ ...p, muted: !p.muted });
      case "keys":
        ui.keys = !ui.keys;
        return draw();
      case "close":
        ui.keys = false;
        return draw();
    }
  };
  /** @type {import("./view-review.js").Acts} */
  const act = {
    do: does,
    speed: (speed) => p && go({ ...p, speed }),
    seek: (at) => p && go(seek(p, at)),
  };
  addEventListener("keydown", (e) => {
    const on = /** @type {Element} */ (e.target);
    // A control that is reached by keyboard keeps the keys that are its own.
    if (on.matches("button,a,select") && (e.key === " " || e.key === "Enter")) return;
    if (on.matches("input[type=radio]") && (e.key.startsWith("Arrow") || e.key === " ")) return;
    const what = keyed(e);
    if (what === "") return;
    e.preventDefault();
    does(what);
  });
  // What was touched does not keep the keyboard: the space bar plays.
  place.addEventListener("click", (e) => {
    if (e.detail > 0 && document.activeElement instanceof HTMLElement) document.activeElement.blur();
  });
  addEventListener("resize", draw);
  draw();
  return {
    /** @param {import("./state-review.js").Review[]} reviews */
    show(reviews) {
      p = player(reviews);
      draw();
    },
    /** @param {string} problem */
    fail(problem) {
      ui.problem = problem;
      draw();
    },
  };
}

/**
 * Plays tones. A browser lets a page sound only after a touch or a key, so that
 * nothing is made before.
 * @param {Sounds} sounds
 */
function sounding(sounds) {
  /** @type {AudioContext|null} */
  let out = null;
  /** @type {Map<string, AudioBuffer>} */
  const ready = new Map();
  return {
    /** @param {string[]} cues */
    wake(cues) {
      if (out) {
        void out.resume();
        return;
      }
      const context = new AudioContext();
      out = context;
      for (const cue of cues) {
        void sounds(cue)
          .then((wav) => wav && context.decodeAudioData(wav))
          .then((buffer) => buffer && ready.set(cue, buffer))
          .catch(() => {}); // a tone that cannot be had is left out; its twin is on the screen
      }
    },
    /** @param {string} cue */
    play(cue) {
      const buffer = ready.get(cue);
      if (!out || !buffer) return;
      const source = out.createBufferSource();
      source.buffer = buffer;
      source.connect(out.destination);
      source.start();
    },
  };
}
