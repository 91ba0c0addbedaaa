// SPDX-License-Identifier: Apache-2.0

import assert from "node:assert/strict";
import { test } from "node:test";
import "./lang/disk.mjs";
import { snapshot } from "./samples.js";
import { muted, turned } from "./state-sound.js";
import { shown } from "./state.js";
import { health } from "./words.js";

test("a box that is muted, or turned to nothing, is never shown as sounding", () => {
  const word = (over) => shown(snapshot(over), 0, "").health[1];
  assert.deepEqual(word({}), { word: health.soundOn, ok: true });
  for (const over of [{ muted: true }, { volume: 0 }, { muted: true, volume: 0 }]) {
    assert.deepEqual(word(over), { word: health.muted, ok: false });
    assert.equal(muted(snapshot(over)), true);
  }
  assert.match(word({ muted: true, sound: "no sound: no card" }).word, /no card/);
});

test("the volume goes in steps of ten and stays within 0 to 100", () => {
  assert.deepEqual([0, 5, 10, 80, 95, 100].map((v) => turned(v, 1)), [10, 10, 20, 90, 100, 100]);
  assert.deepEqual([0, 5, 10, 80, 95, 100].map((v) => turned(v, -1)), [0, 0, 0, 70, 90, 90]);
});
