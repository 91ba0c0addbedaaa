// SPDX-License-Identifier: Apache-2.0

// Joins the Gallery's parts: this box, the other boards that it watches, the
// running list, and the key P. It sends nothing that drives.

import { render } from "./vendor/lit-html.js";
import { speak } from "./lang.js";
import { openLink } from "./link.js";
import { drawing, root, size } from "./screen.js";
import { added, remarksOf } from "./state-gallery.js";
import { gallery } from "./view-gallery.js";

await speak(["run", "gallery"]);

/** @typedef {import("./contract.js").Snapshot} Snapshot */

/** @type {Snapshot|null} */
let snap = null;
/** The others, in the order of their names. @type {Map<string, {m: import("./contract.js").Board, at: number}>} */
const others = new Map();
/** @type {import("./state-gallery.js").Remark[]} */
let remarks = [];
/** @type {import("./view-gallery.js").Ui} */
const ui = { size: size(), problem: "", presenting: new URLSearchParams(location.search).has("present"), chosen: 0 };
const place = root("run.nav.gallery");

/** @returns {import("./state-gallery.js").Board[]} */
function boards() {
  const now = performance.now();
  return [
    { name: "", own: true, state: "live", snap, ageMs: link.age() },
    ...[...others.values()].sort((a, b) => a.m.name.localeCompare(b.m.name)).map(({ m, at }) => ({
      name: m.name, own: false, state: m.state, snap: m.snapshot, ageMs: Math.max(0, m.age_ms) + now - at,
    })),
  ];
}

/** @type {import("./view-gallery.js").Acts} */
const act = {
  present(on) {
    ui.presenting = on;
    draw();
  },
  choose(by) {
    const n = others.size + 1;
    ui.chosen = (ui.chosen + by + n) % n;
    draw();
  },
};

function draw() {
  ui.size = size();
  render(gallery(boards(), remarks, ui, act), place);
}

const link = openLink({
  role: "trainer",
  after: [{ type: "watch" }],
  message(m) {
    if (m.type === "snapshot") {
      remarks = added(remarks, remarksOf("", snap, m));
      snap = m;
    }
    draw();
  },
  board(m) {
    const before = others.get(m.name)?.m;
    if (m.snapshot && m.snapshot.number !== before?.snapshot?.number) remarks = added(remarks, remarksOf(m.name, before?.snapshot ?? null, m.snapshot));
    others.set(m.name, { m, at: performance.now() });
    draw();
  },
  problem(text) {
    ui.problem = text;
    draw();
  },
  lost() {
    draw();
  },
});

addEventListener("keydown", (e) => {
  if (e.ctrlKey || e.altKey || e.metaKey || (e.target instanceof Element && e.target.closest("select"))) return;
  if (e.key === "p" || e.key === "P") act.present(!ui.presenting);
  else if (!ui.presenting) return;
  else if (e.key === "Escape") act.present(false);
  else if (e.key === "ArrowRight" || e.key === "ArrowDown") act.choose(1);
  else if (e.key === "ArrowLeft" || e.key === "ArrowUp") act.choose(-1);
});
drawing(draw);
