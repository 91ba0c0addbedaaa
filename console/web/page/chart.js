// SPDX-License-Identifier: Apache-2.0

// Turns the text of a chart into a drawing for the page. Only what a chart is
// made of is taken in: a text with anything else is refused whole, so that
// nothing in it can run, load or link. It must not draw.

import { t } from "./lang.js";

const space = "http://www.w3.org/2000/svg";
const elements = new Set(["svg", "g", "title", "desc", "line", "rect", "circle", "ellipse", "polyline", "polygon", "path", "text", "tspan", "clipPath"]);
const attributes = new Set([
  "class", "role", "viewBox", "width", "height", "aria-labelledby", "aria-hidden", "id", "x", "y", "x1", "y1", "x2", "y2", "dx", "dy", "cx", "cy", "r", "rx", "ry", "points", "d", "transform", "fill", "fill-opacity", "stroke",
  "stroke-width", "stroke-dasharray", "stroke-linejoin", "stroke-linecap", "stroke-opacity", "opacity", "paint-order", "font-size", "font-weight", "font-family", "text-anchor", "dominant-baseline", "clip-path",
]);
/** The only reference: to a part of the same drawing. */
const here = /^url\(#[\w-]+\)$/;

/**
 * Why the tree of a chart is refused; empty when all of it is known.
 * @param {Element} el
 * @returns {string}
 */
export function unknown(el) {
  if (el.namespaceURI !== space || !elements.has(el.localName)) return t("desk.chart.element", { name: el.localName });
  for (const a of el.attributes) {
    if (a.name === "xmlns") continue;
    if (!attributes.has(a.name) || (a.value.includes("url(") && !(a.name === "clip-path" && here.test(a.value)))) return t("desk.chart.attribute", { name: a.name, element: el.localName });
  }
  for (const child of el.children) {
    const why = unknown(child);
    if (why) return why;
  }
  return "";
}

/**
 * @param {string} text
 * @returns {{node: Element|null, why: string}}
 */
export function chartOf(text) {
  if (text === "") return { node: null, why: "" };
  const doc = new DOMParser().parseFromString(text, "image/svg+xml");
  const root = doc.documentElement;
  if (root.localName !== "svg" || doc.getElementsByTagName("parsererror").length > 0) return { node: null, why: t("desk.chart.no_drawing") };
  const why = unknown(root);
  return why ? { node: null, why } : { node: document.importNode(root, true), why: "" };
}
