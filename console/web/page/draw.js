// SPDX-License-Identifier: Apache-2.0

// Turns the shapes of strip.js and figures.js into SVG. It draws what it is
// given and chooses nothing.

import { html, svg } from "./vendor/lit-html.js";
import { figures } from "./figures.js";
import { strip } from "./strip.js";

/** @param {import("./strip.js").Shape} s */
export function shape(s) {
  const a = s.at;
  switch (s.tag) {
    case "rect":
      return svg`<rect class=${s.cls} x=${a.x} y=${a.y} width=${a.width} height=${a.height}></rect>`;
    case "line":
      return svg`<line class=${s.cls} x1=${a.x1} x2=${a.x2} y1=${a.y1} y2=${a.y2}></line>`;
    case "circle":
      return svg`<circle class=${s.cls} cx=${a.cx} cy=${a.cy} r=${a.r}></circle>`;
    case "path":
      return svg`<path class=${s.cls} d=${a.d}></path>`;
    default:
      return svg`<text class=${s.cls} x=${a.x} y=${a.y} text-anchor=${a["text-anchor"] ?? "start"}>${s.text}</text>`;
  }
}

/**
 * @param {import("./strip.js").StripRun} run
 * @param {import("./strip.js").StripFrame} frame
 * @param {string} label
 */
export function stripSvg(run, frame, label) {
  return html`<svg viewBox="0 0 ${frame.width} ${frame.height}" role="img" aria-label=${label}>${strip(run, frame).map(shape)}</svg>`;
}

/** @param {string} id */
export function figure(id) {
  const f = figures[id] ?? figures.none;
  if (!f) return html``;
  return html`<svg class="fig" viewBox="20 10 410 350" role="img" aria-label=${f.label}>${f.strokes.map(
    (s) => svg`<path class=${`f-${s.pen}`} d=${s.d} transform=${s.turn ? `rotate(${s.turn} 190 262)` : "rotate(0)"}></path>`,
  )}</svg>`;
}
