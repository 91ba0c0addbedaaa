// SPDX-License-Identifier: Apache-2.0

// How the sound is turned, as pages show it.

/** @typedef {import("./contract.js").Snapshot} Snapshot */

/** By how much a press turns the volume, in per cent. */
export const stepBy = 10;

/**
 * Whether only what ends a run or warns of a fault is heard.
 * @param {Pick<Snapshot, "sound"|"volume"|"muted">} snap
 */
export function muted(snap) {
  return snap.sound === "" && (snap.muted || snap.volume === 0);
}

/**
 * The volume after a press.
 * @param {number} volume
 * @param {1|-1} way
 */
export function turned(volume, way) {
  return Math.min(100, Math.max(0, (way > 0 ? Math.floor(volume / stepBy) : Math.ceil(volume / stepBy)) * stepBy + way * stepBy));
}
