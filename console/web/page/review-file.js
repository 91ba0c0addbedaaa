// SPDX-License-Identifier: Apache-2.0

// Plays the review that stands in the same file, with its words and tones. It
// asks for nothing.

import { direction, put, use } from "./lang.js";
import { reviewer } from "./player-review.js";
import { root, size } from "./screen.js";
import { readReview } from "./state-review.js";

const data = JSON.parse(document.getElementById("run")?.textContent ?? "");
for (const [lang, books] of Object.entries(data.words)) for (const book of /** @type {import("./lang.js").Book[]} */ (books)) put(lang, book);
use(data.lang);
document.documentElement.dir = direction(data.lang);
/** @type {Record<string, string>} */
const sounds = data.sounds ?? {};

const page = reviewer(root(), size, true, Object.keys(sounds).length === 0 ? null : async (cue) => {
  const text = sounds[cue];
  return text === undefined ? null : Uint8Array.from(atob(text), (c) => c.charCodeAt(0)).buffer;
});
page.show([readReview(data.review)]);
