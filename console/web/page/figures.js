// SPDX-License-Identifier: Apache-2.0

// Our own drawings, as shapes without a browser: one pen width, no face with an
// expression, nobody in particular, the facepiece a plain shape of no maker. A
// part may move; where nothing may move, its positions stand there instead.

/** @typedef {{d: string, pen: "ink"|"ghost"|"accent"|"body"|"dot", turn?: number}} Stroke turn: degrees about the neck */
/**
 * A group of strokes or of further parts. move names a movement of wearer.css;
 * only says that it is drawn while things move, or while they stand still.
 * @typedef {{move?: string, only?: "moving"|"still", strokes?: Stroke[], parts?: Part[]}} Part
 */

const head = "M150 262C118 232 108 188 118 148C130 98 176 70 226 78C270 85 296 116 300 152L322 190L302 198C304 226 296 246 262 246L252 268";
const openMouth = "M150 262C118 232 108 188 118 148C130 98 176 70 226 78C270 85 296 116 300 152L322 190L302 198L304 206L280 212M280 226L298 232C296 250 282 256 258 254L252 270";
const mask = "M286 168C318 172 334 190 330 212C326 230 306 238 284 232Z";
const straps = "M284 178L132 158M282 228L144 240";
const eye = "M258 148h.1";
const neck = "M150 262C140 302 112 318 66 332M252 270C262 302 286 318 334 332";
const hood = "M54 344V96C54 50 92 22 200 22C308 22 360 50 360 96V344";
const nearBreath = "M348 190c14 6 14 30 0 36";
const farBreath = "M366 178c24 12 24 48 0 60";

/** @type {Stroke} */
const shoulders = { d: neck, pen: "ink" };
/** @type {Stroke} */
const seeing = { d: eye, pen: "dot" };

/** @param {number} [turn] @returns {Stroke[]} */
const masked = (turn = 0) => [
  { d: head, pen: "ink", turn }, { d: straps, pen: "ink", turn }, { d: mask, pen: "body", turn }, { d: eye, pen: "dot", turn },
];
/** @param {number} turn @returns {Stroke[]} */
const faint = (turn) => [{ d: head, pen: "ghost", turn }, { d: mask, pen: "ghost", turn }];

/** @type {Part[]} */
const breathing = [
  { strokes: [...masked(), shoulders] },
  { move: "waft", strokes: [{ d: nearBreath, pen: "accent" }] },
  { move: "waft-late", strokes: [{ d: farBreath, pen: "accent" }] },
];

/** The face from the front: what turns with it. @param {number} x to the side @returns {Stroke[]} */
const front = (x) => [
  { d: `M${126 + x / 4} 168L${158 + x} 186M${274 + x / 4} 168L${242 + x} 186M${138 + x / 4} 220L${162 + x} 226M${262 + x / 4} 220L${238 + x} 226`, pen: "ink" },
  { d: `M${200 + x} 160C${222 + x} 160 ${242 + x} 180 ${242 + x} 204C${242 + x} 232 ${224 + x} 246 ${200 + x} 246C${176 + x} 246 ${158 + x} 232 ${158 + x} 204C${158 + x} 180 ${178 + x} 160 ${200 + x} 160Z`, pen: "body" },
  { d: `M${174 + x} 142h.1`, pen: "dot" }, { d: `M${226 + x} 142h.1`, pen: "dot" },
];
const frontHead = "M200 66C146 66 124 108 126 158C128 214 152 262 200 262C248 262 272 214 274 158C276 108 254 66 200 66Z";

/** Someone from the side, upright: trunk and head, then the arm. @type {Stroke[]} */
const trunk = [{ d: "M180 208L180 112", pen: "ink" }, { d: "M180 92a32 32 0 1 1 .1 0", pen: "ink" }, { d: "M204 46l20 6l-2 24l-20 4Z", pen: "body" }];
const arm = "M180 122L188 214";

/** @type {Record<string, Part[]>} */
export const figures = {
  normal_breathing: breathing,
  normal_breathing_again: breathing,
  deep_breathing: [
    { move: "chest", strokes: [...masked(), shoulders] },
    { strokes: [{ d: nearBreath, pen: "accent" }, { d: farBreath, pen: "accent" }] },
  ],
  head_side_to_side: [
    { strokes: [{ d: "M168 256C168 292 140 316 76 332M232 256C232 292 260 316 324 332", pen: "ink" }, { d: frontHead, pen: "ink" }] },
    { move: "turn", only: "moving", strokes: front(0) },
    { only: "still", strokes: front(-30) },
    { only: "still", strokes: [{ d: "M230 160C252 160 270 180 270 204C270 232 254 246 230 246", pen: "ghost" }] },
    { strokes: [{ d: "M66 196C66 130 92 78 124 56M66 196l-16 -24M66 196l22 -18M334 196C334 130 308 78 276 56M334 196l16 -24M334 196l-22 -18", pen: "accent" }] },
  ],
  head_up_and_down: [
    { only: "still", strokes: faint(18) },
    { only: "still", strokes: masked(-14) },
    { move: "nod", only: "moving", strokes: masked() },
    { strokes: [shoulders, { d: "M372 100A170 170 0 0 1 386 238M372 100l-4 26M372 100l24 10M386 238l-22 -14M386 238l10 -24", pen: "accent" }] },
  ],
  talking: [
    { strokes: [...masked(), shoulders, { d: "M354 172l-16 22l24 -6M352 172v-52c0 -8 4 -12 12 -12h44c8 0 12 4 12 12v54c0 8 -4 12 -12 12h-44", pen: "accent" }] },
    { move: "say-1", strokes: [{ d: "M370 128h32", pen: "accent" }] },
    { move: "say-2", strokes: [{ d: "M370 147h32", pen: "accent" }] },
    { move: "say-3", strokes: [{ d: "M370 166h20", pen: "accent" }] },
  ],
  bending_over: [
    { only: "still", strokes: [{ d: "M180 208L180 112M180 92a32 32 0 1 1 .1 0", pen: "ghost" }] },
    { strokes: [{ d: "M180 208L162 272L168 344h24M180 208L206 272L210 344h24", pen: "ink" }] },
    { move: "bend", parts: [{ strokes: trunk }, { move: "hang", strokes: [{ d: arm, pen: "ink" }] }] },
    { strokes: [{ d: "M262 70C322 82 356 124 362 178M362 178l-20 -20M362 178l16 -24M262 70l26 -10M262 70l20 20", pen: "accent" }] },
  ],

  none: [
    { strokes: [{ d: "M158 150L166 238H270M166 238V344M262 238V344", pen: "ghost" }] },
    { move: "sit", strokes: [{ d: "M196 118L190 228", pen: "ink" }, { d: "M200 98a32 32 0 1 1 .1 0", pen: "ink" }, { d: "M196 140L222 190L262 202", pen: "ink" }] },
    { strokes: [{ d: "M190 228L268 226L272 344h24", pen: "ink" }] },
    { move: "say-1", strokes: [{ d: "M312 70h.1", pen: "dot" }] }, { move: "say-2", strokes: [{ d: "M342 70h.1", pen: "dot" }] }, { move: "say-3", strokes: [{ d: "M372 70h.1", pen: "dot" }] },
  ],
  name: [{ strokes: [{ d: head, pen: "ink" }, seeing, shoulders, { d: "M328 84h88v64h-88ZM344 106h56M344 126h34", pen: "accent" }] }],
  tell: [
    { strokes: [{ d: head, pen: "ink" }, seeing, shoulders, { d: "M354 172l-16 22l24 -6M352 172v-52c0 -8 4 -12 12 -12h44c8 0 12 4 12 12v54c0 8 -4 12 -12 12h-44", pen: "accent" }] },
    { move: "say-1", strokes: [{ d: "M386 124v22", pen: "accent" }] }, { move: "say-2", strokes: [{ d: "M386 166h.1", pen: "accent" }] },
  ],
  ready: [{ strokes: [{ d: head, pen: "ink" }, seeing, shoulders] }, { move: "sway", strokes: [{ d: "M342 112c0 -44 60 -44 60 -4c0 28 -30 26 -30 56M372 192h.1", pen: "accent" }] }],
  screening: [
    { strokes: [{ d: hood, pen: "ghost" }, { d: openMouth, pen: "ink" }, seeing, shoulders, { d: "M284 219C296 216 310 220 318 230", pen: "ink" }] },
    { move: "drift-1", strokes: [{ d: "M344 196h.1", pen: "accent" }] }, { move: "drift-2", strokes: [{ d: "M348 222h.1", pen: "accent" }] }, { move: "drift-3", strokes: [{ d: "M340 248h.1", pen: "accent" }] },
    { strokes: [{ d: "M410 222h-30m12 -12l-12 12l12 12", pen: "accent" }] },
  ],
  clearing: [{ strokes: [{ d: head, pen: "ink" }, seeing, shoulders] }, { move: "tip", strokes: [{ d: "M348 206h54l-8 74h-38ZM352 238h46", pen: "accent" }] }],
  donning: [
    { strokes: [{ d: head, pen: "ink" }, seeing, shoulders] },
    { only: "still", strokes: [{ d: mask, pen: "ghost" }] },
    { move: "strap", only: "moving", strokes: [{ d: straps, pen: "ink" }] },
    { move: "don", strokes: [{ d: mask, pen: "body" }] },
    { strokes: [{ d: "M402 272h-56m14 -14l-14 14l14 14", pen: "accent" }] },
  ],
  dosing: [{ strokes: [{ d: hood, pen: "ghost" }] }, { move: "sit", strokes: masked() }, { strokes: [shoulders] }],
  proving_button: [
    { strokes: [{ d: "M170 174h60c8 0 12 4 12 12v146c0 8 -4 12 -12 12h-60c-8 0 -12 -4 -12 -12V186c0 -8 4 -12 12 -12Z", pen: "ink" }, { d: "M242 204c30 0 30 36 0 36M242 240c30 0 30 36 0 36M242 276c30 0 30 36 0 36", pen: "ink" }] },
    { move: "push", strokes: [{ d: "M178 170v-24h44v24", pen: "body" }, { d: "M330 218C330 168 296 126 246 118L188 116C168 118 168 142 190 144L238 146", pen: "ink" }] },
    { strokes: [{ d: "M200 36v54m-22 -22l22 22l22 -22", pen: "accent" }] },
  ],
  over: [{ strokes: [{ d: hood, pen: "ghost" }, ...masked(), shoulders] }],
  proving_mist: [
    { strokes: [{ d: hood, pen: "ghost" }, { d: head, pen: "ink" }, seeing, shoulders] },
    { only: "still", strokes: [{ d: mask, pen: "ghost" }] },
    { move: "lift", strokes: [{ d: mask, pen: "body" }] },
    { strokes: [{ d: "M404 250c-8 -16 -22 -22 -38 -18m14 -14l-14 14l18 10", pen: "accent" }] },
  ],
  lost: [{ strokes: [{ d: "M160 190c-16 -80 30 -120 70 -112c54 10 66 76 30 116c-24 26 -20 66 -50 78c-22 8 -40 -6 -40 -26M190 176c-4 -46 14 -62 36 -56c26 8 22 44 2 60c-14 12 -14 26 -14 36", pen: "ink" }] }, { move: "waft", strokes: [{ d: "M320 130c22 24 22 76 0 100", pen: "accent" }] }, { move: "waft-late", strokes: [{ d: "M352 108c36 40 36 104 0 144", pen: "accent" }] }],
};

/** The ring of time: as many strokes as there are ticks, about the drawing. */
const centre = { x: 210, y: 190 };
const radius = 248;

/**
 * A tick of the ring: a stroke while its time is to come, a dot once it is gone.
 * @param {number} i from 0, clockwise from the top
 * @param {number} of
 * @param {boolean} gone
 */
export function tick(i, of, gone) {
  const wide = gone ? 0.05 : (0.64 * 360) / of;
  const at = (i + 0.5) * (360 / of) - 90;
  /** @param {number} degrees */
  const point = (degrees) => {
    const a = (degrees * Math.PI) / 180;
    return `${(centre.x + radius * Math.cos(a)).toFixed(1)} ${(centre.y + radius * Math.sin(a)).toFixed(1)}`;
  };
  return `M${point(at - wide / 2)}A${radius} ${radius} 0 0 1 ${point(at + wide / 2)}`;
}

/** The circle that one breathes with, and its two ends. */
export const lung = { x: centre.x, y: centre.y, out: 150, in: 222 };
