// SPDX-License-Identifier: Apache-2.0

// Joins a review; its run, or its two runs, stand last in the address.

import { speak, t } from "./lang.js";
import { reviewer } from "./player-review.js";
import { root, size } from "./screen.js";
import { readReview } from "./state-review.js";

await speak(["run", "review"]);

const page = reviewer(root("review.title"), size, false, async (cue) => {
  const answer = await fetch(`/api/v1/cues/${encodeURIComponent(cue)}.wav`);
  return answer.ok ? answer.arrayBuffer() : null;
});

/** @param {string} run */
async function read(run) {
  const answer = await fetch(`/api/v1/runs/${encodeURIComponent(run)}/review`, { headers: { Accept: "application/json" } });
  if (answer.ok) return readReview(await answer.json());
  throw new Error(t(answer.status === 404 || answer.status === 422 ? "review.no_run" : answer.status === 409 ? "review.still_open" : "review.unreadable", { run }));
}

const runs = location.pathname.split("/").slice(2, 4).filter((r) => r !== "").map(decodeURIComponent);
try {
  if (runs.length === 0) throw new Error(t("review.none_named"));
  page.show(await Promise.all(runs.map(read)));
} catch (err) {
  page.fail(err instanceof Error ? err.message : String(err));
}
