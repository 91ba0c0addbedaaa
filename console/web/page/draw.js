// SPDX-License-Identifier: Apache-2.0

// Turns the shapes of strip.js and figures.js into SVG. It draws what it is
// given and chooses nothing.

import { html, svg } from "./vendor/lit-html.js";
import { figures, lung, tick } from "./figures.js";
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

/** @param {import("./figures.js").Stroke} s */
const stroke = (s) => svg`<path class=${`f-${s.pen}`} d=${s.d} transform=${`rotate(${s.turn ?? 0} 190 262)`}></path>`;

/** @param {import("./figures.js").Part} p @returns {import("./vendor/lit-html.js").TemplateResult} */
const part = (p) =>
  svg`<g class=${`${p.move ? `m-${p.move}` : ""} ${p.only ? `only-${p.only}` : ""}`}>${(p.strokes ?? []).map(stroke)}${(p.parts ?? []).map(part)}</g>`;

/**
 * A drawing of figures.js, in a ring of ticks where there is time to show and
 * with the circle to breathe with where there is a breath. The words beside it
 * say the same, so it is not read out; the time left is.
 * @param {string} id
 * @param {{of: number, left: number, label: string}|null} [ring]
 * @param {"in"|"out"|""} [breath]
 */
export function figure(id, ring = null, breath = "") {
  const parts = figures[id] ?? figures.none ?? [];
  const ticks = ring === null ? [] : Array.from({ length: ring.of }, (_, i) => i);
  const gone = ring === null ? 0 : ring.of - ring.left;
  return html`<svg class=${`fig ${ring === null ? "" : "ringed"} ${breath ? `breathe-${breath}` : ""}`} viewBox=${ring === null ? "20 4 424 356" : "-46 -66 512 512"} aria-hidden=${ring === null ? "true" : "false"} role="img" aria-label=${ring?.label ?? ""}>
    ${ticks.map((i) => svg`<path class=${i < gone ? "tick gone" : i === gone ? "tick now" : "tick"} d=${tick(i, ticks.length, i < gone)}></path>`)}
    ${breath ? [svg`<circle class="lung lung-out" cx=${lung.x} cy=${lung.y} r=${lung.out}></circle>`, svg`<circle class="lung lung-in" cx=${lung.x} cy=${lung.y} r=${lung.in}></circle>`, svg`<circle class="lung lung-moves" cx=${lung.x} cy=${lung.y} r=${lung.in}></circle>`] : ""}
    <g class="whole">${parts.map(part)}</g></svg>`;
}
