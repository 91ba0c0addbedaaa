// SPDX-License-Identifier: Apache-2.0

import assert from "node:assert/strict";
import { test } from "node:test";
import "./lang/disk.mjs";
import { has } from "./lang.js";
import { board, check, choices, clockUnset, inputStates, kitOf, nothingKnown, snapshot, timed } from "./samples.js";
import { after, first, order, pairOf, steps } from "./state-start.js";

const none = { choices: { ...choices, people: [], facepieces: [] }, kit: kitOf(), drills: 0 };
const is = (snap, known = none, heard = false) => Object.fromEntries(steps(snap, known, heard).map((s) => [s.id, s.is]));

test("a new box has everything before it; what is not known is not said to be open", () => {
  const fresh = snapshot({ clock: clockUnset });
  assert.deepEqual(is(fresh), { inputs: "open", sound: "open", clock: "bad", people: "open", facepieces: "open", kit: "open", drill: "open" });
  const s = is(fresh, nothingKnown);
  for (const id of ["people", "facepieces", "kit", "drill"]) assert.equal(s[id], "unknown", id);
});

test("the wires are right when the check passed, and never while something is missing", () => {
  assert.equal(is(snapshot({ inputs: board({ check: check("") }) })).inputs, "done");
  assert.equal(is(snapshot({ inputs: board({ check: check("rest") }) })).inputs, "open");
  assert.equal(is(snapshot({ inputs: board({ check: { ...check(""), passed: false } }) })).inputs, "open", "stopped is neither");
  assert.equal(is(inputStates["check-failed"]).inputs, "bad");
  assert.equal(is(inputStates.unplugged).inputs, "bad", "passed before the plug came out");
  assert.equal(is(inputStates["cable-open"]).inputs, "bad");
});

test("sound counts when somebody heard it or pressed at a tone, not when the box plays to nobody", () => {
  assert.equal(is(snapshot({})).sound, "open");
  assert.equal(is(snapshot({}), none, true).sound, "done");
  assert.equal(is(snapshot({ inputs: board({ latency: timed }) })).sound, "done");
  assert.equal(is(snapshot({ inputs: board({ latency: { ...timed, why: "too_few" } }) })).sound, "open");
  assert.equal(is(snapshot({ sound: "the player stopped" }), none, true).sound, "bad");
});

test("kit is ready with weak and strong for the same agent, filled and seen to give mist", () => {
  assert.equal(pairOf(kitOf("weak", "strong")), "bitter");
  assert.equal(pairOf(kitOf("weak", "weak")), "");
  const but = (over) => {
    const kit = kitOf("weak", "strong");
    Object.assign(kit.nebulisers[1], over);
    return pairOf(kit);
  };
  for (const over of [{ agent: "sweet" }, { good: false }, { filled: "" }, { stale_in_s: 0 }, { gone: true }]) assert.equal(but(over), "", JSON.stringify(over));
});

test("a step can be left: the next open one follows, round and round, and the last one leads nowhere", () => {
  const all = steps(snapshot({}), none, false);
  assert.equal(first(all), "inputs");
  assert.equal(after(all, "inputs"), "sound");
  assert.equal(after(all, "drill"), "inputs");
  const one = all.map((s) => ({ ...s, is: s.id === "kit" ? "open" : "done" }));
  assert.equal(first(one), "kit");
  assert.equal(after(one, "kit"), "");
  assert.equal(after(one, "drill"), "kit");
  assert.equal(first(all.map((s) => ({ ...s, is: "done" }))), "");
});

test("every step has its words", () => {
  for (const id of order) for (const part of ["title", "what"]) assert.ok(has(`start.${id}.${part}`), `start.${id}.${part}`);
});
