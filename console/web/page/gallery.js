// SPDX-License-Identifier: Apache-2.0

// Joins the Gallery's parts. It sends nothing but its hello.

import { render } from "./vendor/lit-html.js";
import { openLink } from "./link.js";
import { drawing, root, size } from "./screen.js";
import { shown } from "./state.js";
import { gallery } from "./view-gallery.js";

/** @type {import("./contract.js").Snapshot|null} */
let snap = null;
let problem = "";
const place = root();
const draw = () => render(gallery(snap, snap && shown(snap, link.age(), ""), { size: size(), problem }), place);
const link = openLink({
  role: "trainer",
  message(m) {
    if (m.type === "snapshot") snap = m;
    draw();
  },
  problem(text) {
    problem = text;
    draw();
  },
  lost() {
    draw();
  },
});
drawing(draw);
