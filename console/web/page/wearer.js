// SPDX-License-Identifier: Apache-2.0

// Joins the Wearer's parts. It sends nothing but its hello.

import { render } from "./vendor/lit-html.js";
import { openLink } from "./link.js";
import { drawing, root } from "./screen.js";
import { wearerShown } from "./state.js";
import { wearer } from "./view-wearer.js";

/** @type {import("./contract.js").Snapshot|null} */
let snap = null;
const place = root();
const draw = () => render(wearer(wearerShown(snap, link.age()), snap?.practice), place);
const link = openLink({
  role: "wearer",
  message(m) {
    if (m.type === "snapshot") snap = m;
    draw();
  },
  problem() {
    snap = null;
    draw();
  },
  lost() {
    draw();
  },
});
drawing(draw);
