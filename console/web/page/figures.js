// SPDX-License-Identifier: Apache-2.0

// Our own drawings, as shapes without a browser: one pen width, no face with an
// expression, nobody in particular, the facepiece a plain shape of no maker.

/** @typedef {{d: string, pen: "ink"|"ghost"|"accent"|"body"|"dot", turn?: number}} Stroke */

const head = "M150 262C118 232 108 188 118 148C130 98 176 70 226 78C270 85 296 116 300 152L322 190L302 198C304 226 296 246 262 246L252 268";
const openMouth = "M150 262C118 232 108 188 118 148C130 98 176 70 226 78C270 85 296 116 300 152L322 190L302 198L304 206L280 212M280 226L298 232C296 250 282 256 258 254L252 270";
const mask = "M286 168C318 172 334 190 330 212C326 230 306 238 284 232Z";
const straps = "M284 178L132 158M282 228L144 240";
const eye = "M258 148h.1";
const neck = "M150 262C140 302 112 318 66 332M252 270C262 302 286 318 334 332";
const hood = "M54 344V96C54 50 92 22 200 22C308 22 360 50 360 96V344";
const breath = "M348 190c14 6 14 30 0 36M366 178c24 12 24 48 0 60";

/** @param {number} [turn] @returns {Stroke[]} */
const masked = (turn = 0) => [
  { d: head, pen: "ink", turn }, { d: straps, pen: "ink", turn }, { d: mask, pen: "body", turn }, { d: eye, pen: "dot", turn },
];
/** @type {Stroke} */
const shoulders = { d: neck, pen: "ink" };

/** @type {Record<string, {label: string, strokes: Stroke[]}>} */
export const figures = {
  normal_breathing: { label: "a head with a facepiece, breathing", strokes: [...masked(), shoulders, { d: breath, pen: "accent" }] },
  deep_breathing: {
    label: "a head with a facepiece, breathing deeply, the shoulders rising and falling",
    strokes: [...masked(), shoulders, { d: breath, pen: "accent" }, { d: "M386 166c34 18 34 66 0 84", pen: "accent" }, { d: "M60 300v-44m-12 14l12 -14l12 14M340 306v-40m-12 14l12 -14l12 14", pen: "accent" }],
  },
  head_side_to_side: {
    label: "a head from the front, turning from side to side",
    strokes: [
      { d: "M200 66C146 66 124 108 126 158C128 214 152 262 200 262C248 262 272 214 274 158C276 108 254 66 200 66Z", pen: "ink" },
      { d: "M126 168L158 186M274 168L242 186M138 220L162 226M262 220L238 226", pen: "ink" },
      { d: "M200 160C222 160 242 180 242 204C242 232 224 246 200 246C176 246 158 232 158 204C158 180 178 160 200 160Z", pen: "body" },
      { d: "M174 142h.1", pen: "dot" }, { d: "M226 142h.1", pen: "dot" },
      { d: "M168 256C168 292 140 316 76 332M232 256C232 292 260 316 324 332", pen: "ink" },
      { d: "M76 190C76 120 104 66 140 44M76 190l-16 -22M76 190l20 -18M324 190C324 120 296 66 260 44M324 190l16 -22M324 190l-20 -18", pen: "accent" },
    ],
  },
  head_up_and_down: {
    label: "a head looking up and down",
    strokes: [
      { d: head, pen: "ghost", turn: 20 }, { d: mask, pen: "ghost", turn: 20 }, ...masked(-12), shoulders,
      { d: "M364 96A170 170 0 0 1 378 240M364 96l-4 26M364 96l24 10M378 240l-22 -14M378 240l10 -24", pen: "accent" },
    ],
  },
  talking: {
    label: "a head with a facepiece, talking",
    strokes: [...masked(), shoulders, { d: "M352 176h-2l-14 18l22 -4M350 120h36c8 0 12 4 12 12v36c0 8 -4 12 -12 12h-20M362 138h24M362 156h16", pen: "accent" }],
  },
  bending_over: {
    label: "a figure bending over from the waist and coming up",
    strokes: [
      { d: "M150 344L158 200M196 344L176 200", pen: "ink" },
      { d: "M166 200C190 158 228 146 268 168", pen: "ink" },
      { d: "M262 168C270 210 274 250 270 296", pen: "ink" },
      { d: "M286 158a34 34 0 1 1 22 58a34 34 0 0 1 -22 -58Z", pen: "ink" },
      { d: "M306 214l26 -12l12 22l-26 14Z", pen: "body" },
      { d: "M166 200L162 98M162 116L146 196M162 92a30 30 0 1 1 .1 0", pen: "ghost" },
      { d: "M214 60C276 56 330 84 352 128M352 128l-4 -28M352 128l-26 -10M214 60l22 -16M214 60l24 12", pen: "accent" },
    ],
  },
  normal_breathing_again: { label: "a head with a facepiece, breathing", strokes: [...masked(), shoulders, { d: breath, pen: "accent" }] },

  none: { label: "a head", strokes: [{ d: head, pen: "ink" }, { d: eye, pen: "dot" }, shoulders] },
  ready: {
    label: "a head, and a question",
    strokes: [{ d: head, pen: "ink" }, { d: eye, pen: "dot" }, shoulders, { d: "M338 112c0 -44 60 -44 60 -4c0 28 -30 26 -30 56M368 192h.1", pen: "accent" }],
  },
  screening: {
    label: "a head under the hood, no facepiece, mouth open",
    strokes: [{ d: hood, pen: "ghost" }, { d: openMouth, pen: "ink" }, { d: eye, pen: "dot" }, shoulders, { d: "M284 222l30 6", pen: "ink" }, { d: "M398 216h-26m12 -12l-12 12l12 12", pen: "accent" }],
  },
  clearing: {
    label: "a cup of water beside a head",
    strokes: [{ d: head, pen: "ink" }, { d: eye, pen: "dot" }, shoulders, { d: "M344 206h54l-8 72h-38ZM348 236h46", pen: "accent" }],
  },
  donning: {
    label: "a facepiece put onto a face",
    strokes: [{ d: head, pen: "ink" }, { d: eye, pen: "dot" }, shoulders, { d: "M352 166C384 170 400 188 396 210C392 228 372 236 350 230Z", pen: "body" }, { d: "M392 268h-52m14 -14l-14 14l14 14", pen: "accent" }],
  },
  dosing: { label: "a head with a facepiece under the hood", strokes: [{ d: hood, pen: "ghost" }, ...masked(), shoulders] },
  proving_button: {
    label: "a thumb pressing a button",
    strokes: [
      { d: "M120 300h160M150 300v-34c0 -10 6 -16 16 -16h68c10 0 16 6 16 16v34", pen: "ink" },
      { d: "M176 250v-16h48v16", pen: "body" }, { d: "M200 90v112m-26 -28l26 28l26 -28", pen: "accent" },
    ],
  },
  over: { label: "a head with a facepiece, still under the hood", strokes: [{ d: hood, pen: "ghost" }, ...masked(), shoulders] },
  proving_mist: {
    label: "the facepiece lifted a little off the face, under the hood",
    strokes: [
      { d: hood, pen: "ghost" }, { d: head, pen: "ink" }, { d: eye, pen: "dot" }, shoulders,
      { d: "M304 178C328 184 342 202 336 222C330 238 312 244 292 236Z", pen: "body" }, { d: "M398 240c-8 -16 -28 -22 -48 -16m14 -14l-14 14l18 8", pen: "accent" },
    ],
  },
  lost: { label: "an ear", strokes: [{ d: "M160 190c-16 -80 30 -120 70 -112c54 10 66 76 30 116c-24 26 -20 66 -50 78c-22 8 -40 -6 -40 -26M190 176c-4 -46 14 -62 36 -56c26 8 22 44 2 60c-14 12 -14 26 -14 36", pen: "ink" }] },
};
