// SPDX-License-Identifier: Apache-2.0

// The volume of the box and its mute: a line, three buttons and what a mute
// leaves.

import { html, nothing } from "./vendor/lit-html.js";
import { t } from "./lang.js";
import { muted, turned } from "./state-sound.js";

/** @typedef {import("./contract.js").Snapshot} Snapshot */

/**
 * @param {Snapshot} snap
 * @param {boolean} inert
 * @param {(verb: "volume"|"mute", to: {volume?: number, muted?: boolean}) => void} turn
 */
export function turning(snap, inert, turn) {
  if (snap.sound !== "") return nothing;
  return html`<p class="volume" role="status">${t("inputs.volume", { percent: snap.volume })}</p>
    <div class="either" role="group" aria-label=${t("inputs.volume", { percent: snap.volume })}>
      <button ?disabled=${inert || snap.volume <= 0} @click=${() => turn("volume", { volume: turned(snap.volume, -1) })}>${t("inputs.quieter")}</button>
      <button ?disabled=${inert || snap.volume >= 100} @click=${() => turn("volume", { volume: turned(snap.volume, 1) })}>${t("inputs.louder")}</button>
      <button ?disabled=${inert} aria-pressed=${snap.muted} @click=${() => turn("mute", { muted: !snap.muted })}>${snap.muted ? t("inputs.unmute") : t("inputs.mute")}</button>
    </div>
    ${muted(snap) ? html`<p class="result"><span aria-hidden="true">! </span>${t("inputs.still_sounds")}</p>` : nothing}`;
}
