// SPDX-License-Identifier: Apache-2.0

// How far a box is on the way to its first run, from what the box itself knows:
// pure, so that leaving and coming back, on any screen, changes nothing.

/** @typedef {import("./contract.js").Snapshot} Snapshot */
/** @typedef {import("./contract.js").Choices} Choices */
/** @typedef {import("./api.js").Kit} Kit */
/**
 * What was asked of the box besides its snapshot; null while it is not known.
 * @typedef {{choices: Choices|null, kit: Kit|null, drills: number|null}} Known
 */
/** @typedef {"done"|"open"|"bad"|"unknown"} Standing bad: the box itself says that it does not work */
/** @typedef {{id: string, is: Standing}} Step */

/** Steps in the order in which they are shown. */
export const order = ["inputs", "sound", "clock", "people", "facepieces", "kit", "drill"];

/**
 * @param {Snapshot} snap
 * @param {Known} known
 * @param {boolean} heard  somebody at this screen heard a tone
 * @returns {Step[]}
 */
export function steps(snap, known, heard) {
  const i = snap.inputs;
  /** @param {number|null} n @returns {Standing} */
  const some = (n) => (n === null ? "unknown" : n > 0 ? "done" : "open");
  /** @type {Record<string, Standing>} */
  const is = {
    inputs: i.missing || i.lost || i.cable || failed(snap) ? "bad" : i.check?.passed ? "done" : "open",
    sound: snap.sound !== "" ? "bad" : heard || answered(snap) ? "done" : "open",
    clock: snap.clock.quality === "confirmed" || snap.clock.quality === "network" ? "done" : snap.clock.quality === "unset" ? "bad" : "open",
    people: some(known.choices?.people.length ?? null),
    facepieces: some(known.choices?.facepieces.length ?? null),
    kit: known.kit === null ? "unknown" : pairOf(known.kit) !== "" ? "done" : "open",
    drill: some(known.drills),
  };
  return order.map((id) => ({ id, is: is[id] ?? "unknown" }));
}

/** The check of the wires has ended and found something. @param {Snapshot} snap */
export const failed = (snap) => (snap.inputs.check?.ask === "" && (snap.inputs.check?.found.length ?? 0) > 0);

/** The self-test of sound and contact came to a figure. @param {Snapshot} snap */
export const answered = (snap) => snap.inputs.latency?.done === true && snap.inputs.latency.why === "";

/**
 * Nebulisers that a run would take now.
 * @param {Kit} kit
 */
export const ready = (kit) => kit.nebulisers.filter((n) => !n.gone && n.good && n.filled !== "" && n.stale_in_s !== 0);

/**
 * The agent that there is a pair for, weak and strong; empty for none.
 * @param {Kit} kit
 */
export function pairOf(kit) {
  const good = ready(kit);
  return good.find((n) => n.role === "weak" && good.some((m) => m.role === "strong" && m.agent === n.agent))?.agent ?? "";
}

/**
 * The step to begin with: the first that is not done.
 * @param {Step[]} all
 */
export const first = (all) => all.find((s) => s.is !== "done")?.id ?? "";

/**
 * The step that comes after one that is left: the next that is not done, from
 * the beginning again after the last. Empty when there is no other.
 * @param {Step[]} all
 * @param {string} from
 */
export function after(all, from) {
  const at = all.findIndex((s) => s.id === from);
  return [...all.slice(at + 1), ...all.slice(0, Math.max(0, at))].find((s) => s.is !== "done")?.id ?? "";
}
