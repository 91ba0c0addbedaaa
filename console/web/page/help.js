// SPDX-License-Identifier: Apache-2.0

// The page Help.

import { render } from "./vendor/lit-html.js";
import { readBox } from "./contract.js";
import { speak } from "./lang.js";
import { getJSON, root } from "./screen.js";
import { help } from "./view-help.js";

await speak(["run", "help"]);

const place = root("run.nav.help");

/** @param {boolean} sim */
function draw(sim) {
  render(help(sim), place);
}

/** Brings the section that the address names to the eye and to the keyboard. */
function toSection() {
  const at = document.getElementById(location.hash.slice(1));
  at?.scrollIntoView();
  at?.focus({ preventScroll: true });
}

draw(false);
toSection();
addEventListener("hashchange", toSection);
getJSON("/api/box").then(
  (value) => draw(readBox(value).practice !== ""),
  () => {}, // the keys of a simulated board are then left out
);
