// SPDX-License-Identifier: Apache-2.0

// A signature as strokes: drawn by pointer, or a typed name as the outlines of
// its letters, which nobody takes for a hand; and the bytes that are kept of
// them. It must not know a page or draw.

/** Width of the field to its height. */
export const ratio = 3;
/** Points closer than this, in heights of the field, are the same. */
const nearest = 0.012;
/** Most points of all strokes: what is kept has room for them. */
export const mostPoints = 3000;
/** Most strokes. */
export const mostStrokes = 250;

/** @typedef {[number, number]} Point from 0 to 1 in both directions, downwards */
/** @typedef {{strokes: Point[][], open: boolean, full: boolean}} Drawing */

/** @returns {Drawing} */
export const blank = () => ({ strokes: [], open: false, full: false });

/** @param {Drawing} d */
const points = (d) => d.strokes.reduce((n, s) => n + s.length, 0);
/** @param {number} v */
const inside = (v) => Math.round(Math.min(1, Math.max(0, v)) * 1000) / 1000;

/**
 * The pen is set down.
 * @param {Drawing} d @param {number} x @param {number} y
 * @returns {Drawing}
 */
export function down(d, x, y) {
  if (points(d) >= mostPoints || d.strokes.length >= mostStrokes) return { ...d, full: true };
  return { ...d, strokes: [...d.strokes, [[inside(x), inside(y)]]], open: true };
}

/**
 * The pen moves; it draws only while it is down.
 * @param {Drawing} d @param {number} x @param {number} y
 * @returns {Drawing}
 */
export function move(d, x, y) {
  const stroke = d.strokes.at(-1);
  const last = stroke?.at(-1);
  if (!d.open || !stroke || !last) return d;
  if (Math.hypot((x - last[0]) * ratio, y - last[1]) < nearest) return d;
  if (points(d) >= mostPoints) return { ...d, open: false, full: true };
  return { ...d, strokes: [...d.strokes.slice(0, -1), [...stroke, [inside(x), inside(y)]]] };
}

/** The pen is lifted. @param {Drawing} d @returns {Drawing} */
export function up(d) {
  return { ...d, open: false };
}

/** Whether it is more than a touch: a signature has some length. @param {Drawing} d */
export function drawn(d) {
  let length = 0;
  for (const s of d.strokes) {
    for (let i = 1; i < s.length; i++) {
      const [a, b] = [s[i - 1], s[i]];
      if (a && b) length += Math.hypot((b[0] - a[0]) * ratio, b[1] - a[1]);
    }
  }
  return length >= 0.4;
}

/** A stroke as the path of a field of such a height. @param {Point[]} stroke @param {number} height */
export function pathOf(stroke, height) {
  const at = stroke.map(([x, y]) => `${Math.round(x * height * ratio)} ${Math.round(y * height)}`);
  return at.length === 1 ? `M${at[0]}h1` : `M${at.join("L")}`;
}

/** What is kept: the strokes as lists of points. @param {Point[][]} strokes */
export function kept(strokes) {
  return JSON.stringify(strokes);
}

/**
 * The outlines of what is set in a picture of one bit a pixel, largest first,
 * as strokes of a field of the picture's size.
 * @param {(x: number, y: number) => boolean} set
 * @param {number} width
 * @param {number} height
 * @returns {Point[][]}
 */
export function outlines(set, width, height) {
  const at = (/** @type {number} */ x, /** @type {number} */ y) => x >= 0 && y >= 0 && x < width && y < height && set(x, y);
  // Edges between a set pixel and one that is not, with the set one to the right.
  /** @type {Map<number, number[]>} */
  const from = new Map();
  const corner = (/** @type {number} */ x, /** @type {number} */ y) => y * (width + 1) + x;
  const edge = (/** @type {number} */ a, /** @type {number} */ b) => {
    const l = from.get(a);
    if (l) l.push(b);
    else from.set(a, [b]);
  };
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      if (!at(x, y)) continue;
      if (!at(x, y - 1)) edge(corner(x, y), corner(x + 1, y));
      if (!at(x + 1, y)) edge(corner(x + 1, y), corner(x + 1, y + 1));
      if (!at(x, y + 1)) edge(corner(x + 1, y + 1), corner(x, y + 1));
      if (!at(x - 1, y)) edge(corner(x, y + 1), corner(x, y));
    }
  }
  /** @type {[number, number][][]} */
  const loops = [];
  for (const start of from.keys()) {
    for (let next = from.get(start)?.pop(); next !== undefined; next = from.get(start)?.pop()) {
      /** @type {[number, number][]} */
      const loop = [];
      for (let c = next; ; ) {
        loop.push([c % (width + 1), Math.floor(c / (width + 1))]);
        const on = c === start ? undefined : from.get(c)?.pop();
        if (on === undefined) break;
        c = on;
      }
      if (loop.length > 6) loops.push(loop);
    }
  }
  loops.sort((a, b) => b.length - a.length);
  for (let slack = 0.85; ; slack *= 1.5) {
    const out = loops.slice(0, mostStrokes).map((l) => closed(l, slack).map((p) => /** @type {Point} */ ([inside(p[0] / width), inside(p[1] / height)])));
    if (out.reduce((n, l) => n + l.length, 0) <= mostPoints) return out;
  }
}

/** A loop without the points that say little. @param {[number, number][]} loop @param {number} slack */
function closed(loop, slack) {
  const [first] = loop;
  if (!first) return [];
  let far = 0;
  loop.forEach((p, i) => {
    const f = loop[far];
    if (f && Math.hypot(p[0] - first[0], p[1] - first[1]) > Math.hypot(f[0] - first[0], f[1] - first[1])) far = i;
  });
  return [...thinned(loop.slice(0, far + 1), slack), ...thinned([...loop.slice(far), first], slack).slice(1)];
}

/** A line without the points that lie within slack of it. @param {[number, number][]} line @param {number} slack @returns {[number, number][]} */
function thinned(line, slack) {
  const a = line[0];
  const b = line.at(-1);
  if (!a || !b || line.length < 3) return line;
  const long = Math.hypot(b[0] - a[0], b[1] - a[1]) || 1;
  let most = 0;
  let at = 0;
  line.forEach((p, i) => {
    const off = Math.abs((p[0] - a[0]) * (b[1] - a[1]) - (p[1] - a[1]) * (b[0] - a[0])) / long;
    if (off > most) [most, at] = [off, i];
  });
  return most <= slack ? [a, b] : [...thinned(line.slice(0, at + 1), slack), ...thinned(line.slice(at), slack).slice(1)];
}

/** Text as base64 of its UTF-8. @param {string} text */
export function base64(text) {
  let bytes = "";
  for (const b of new TextEncoder().encode(text)) bytes += String.fromCharCode(b);
  return btoa(bytes);
}
