// SPDX-License-Identifier: Apache-2.0

import assert from "node:assert/strict";
import { readFile } from "node:fs/promises";
import { test } from "node:test";
import "./lang/disk.mjs";
import { read, readBox } from "./contract.js";
import { atRest, board, box, bulb, check, clockSet, clockUnset, inputStates, line, poorBox, silentBox, snapshot, timed } from "./samples.js";
import { shown } from "./state.js";
import { boxFacts, clockShown, inputsShown, size, wallAt, wallOf } from "./state-inputs.js";
import * as words from "./words-inputs.js";
import { whys } from "./words.js";

const go = (path) => readFile(new URL(`../../${path}`, import.meta.url), "utf8");
const of = (name, age = 0) => inputsShown(inputStates[name], age);

test("every sample of the page is a message", () => {
  for (const s of Object.values(inputStates)) assert.deepEqual(read(JSON.stringify(s)), s);
  for (const b of [box, poorBox, silentBox]) assert.deepEqual(readBox(structuredClone(b)), b);
  assert.throws(() => readBox({ ...box, store_free: "much" }), /Box\.store_free/);
  assert.throws(() => readBox({ ...box, parts: [{ name: "x", state: "loaded" }] }), /parts\[0\]\.reason/);
});

test("every request and every finding of the check has its sentence", async () => {
  const source = await go("wiring/wiring.go");
  const part = (from, to) => source.slice(source.indexOf(from), source.indexOf(to));
  const keys = (text) => [...text.matchAll(/^\t\w+\s+= "(\w+)"/gm)].map((m) => m[1]);
  const asks = keys(part("// What is asked for.", "// Keys of findings."));
  assert.deepEqual(asks, Object.keys(words.asks));
  assert.deepEqual(asks, Object.keys(words.askNames));
  const found = keys(part("// Keys of findings.", "// A Finding is"));
  assert.equal(found.length, 10);
  for (const key of found) assert.ok(words.findings[key], key);
  for (const text of Object.values(words.asks)) assert.equal(text.split("*").length, 3, text);
});

test("every tone is a cue", async () => {
  const source = await readFile(new URL("../../../audio/audio.go", import.meta.url), "utf8");
  for (const [cue] of words.tones()) assert.match(source, new RegExp(`Cue = "${cue}"`), cue);
});

test("every quality of the clock and every part's state has words", async () => {
  const wall = await readFile(new URL("../../../device/clock/wall.go", import.meta.url), "utf8");
  const qualities = [...wall.matchAll(/Quality = "(\w+)"/g)].map((m) => m[1]);
  assert.deepEqual(qualities.sort(), Object.keys(words.qualities).sort());
  const device = await readFile(new URL("../../../device/device.go", import.meta.url), "utf8");
  for (const m of device.matchAll(/State = "(\w+)"/g)) assert.ok(words.parts[m[1]], m[1]);
});

test("what the session answers to commands has words", async () => {
  const source = (await Promise.all(["inputs", "inputs_bulb", "command"].map((f) => go(`session/${f}.go`)))).join("");
  const answers = [...source.matchAll(/return "(\w+)"/g)].map((m) => m[1]);
  assert.ok(answers.length > 12);
  for (const why of [...answers, "clock_unset", "input_missing", "busy", "no_pedal"]) assert.ok(whys[why], why);
});

test("a finding tells what was asked for from what moved", () => {
  assert.match(words.finding("moved_instead", "squeeze,step"), /asked for the bulb's contact, moved the step contact\./);
  assert.match(words.finding("moved_instead", "taste_no,taste_nc,squeeze"), /asked for the button's closing contact and the button's opening contact, moved the bulb's contact/);
  assert.match(words.finding("moved_too", "step,taste_no"), /with the step contact moved the button's closing contact/);
  assert.match(words.finding("pair_half", "taste_no,taste_nc"), /opening contact moved, the button's closing contact did not/);
  assert.match(words.finding("not_let_go", "squeeze,step"), /the bulb's contact and the step contact did not come back/);
  assert.match(words.finding("noisy", "squeeze,step"), /the bulb's contact and the step contact/);
  assert.equal(words.finding("some_new_thing", "step"), "Some new thing: the step contact.");
  assert.equal(words.finding("constructor", ""), "Constructor.");
});

test("one thing to do at a time, in the order of the check", () => {
  const c = of("check-asking");
  assert.equal(c.mode, "check");
  assert.equal(c.sentence, words.asks.let_squeeze);
  assert.deepEqual(c.check.steps.map((s) => s.state), ["done", "done", "now", "todo", "todo", "todo", "todo"]);
  assert.deepEqual(c.contacts.filter((x) => x.asked).map((x) => x.line), ["squeeze"]);
  assert.deepEqual(of("check-finding").contacts.filter((x) => x.asked).map((x) => x.line), ["taste_no", "taste_nc"]);
  assert.equal(of("latency").mode, "latency");
  assert.equal(of("learn").mode, "learn");
  assert.equal(of("good").mode, "idle");
});

test("the time left of a request runs down between snapshots and not below nothing", () => {
  assert.equal(of("check-asking").check.left, "0:17");
  assert.equal(of("check-asking", 1500).check.left, "0:15");
  assert.equal(inputsShown(snapshot({ inputs: board({ check: { ...check("rest"), left_ms: 200 } }) }), 1900).check.left, "0:00");
});

test("a board without a step contact is not asked for one", () => {
  const c = inputsShown(snapshot({ inputs: board({ check: check("press_button"), lines: [line("squeeze", false, 0), line("taste", false, 0)] }) }), 0);
  assert.deepEqual(c.check.steps.map((s) => s.ask), ["rest", "press_squeeze", "let_squeeze", "press_button", "let_button"]);
});

test("only a check that passed is called so", () => {
  assert.equal(of("good").check.result, "passed");
  assert.equal(of("check-failed").check.result, "failed");
  assert.equal(of("check-stopped").check.result, "stopped");
  assert.equal(of("check-asking").check.result, "");
  assert.equal(of("unchecked").check, null);
  for (const [name, s] of Object.entries(inputStates)) if (!s.inputs.check?.passed) assert.notEqual(of(name).sentence, words.say.sound, name);
});

test("what is wrong comes before what is well", () => {
  const want = {
    "cable-open": words.say.cableOpen, unplugged: words.say.missing, "check-failed": words.say.failed, "clock-unset": words.say.clock,
    unchecked: words.say.unchecked, "run-open": words.say.runOpen, single: words.say.single, good: words.say.sound,
  };
  for (const [name, sentence] of Object.entries(want)) assert.equal(of(name).sentence, sentence, name);
  assert.deepEqual(of("unplugged").wrong, ["pedal for squeeze: the pedal is unplugged"]);
  assert.equal(of("cable-open").button.ok, false);
  assert.match(of("single").button.word, /unsupervised/);
});

test("a contact says shape, word, counts and when it moved", () => {
  const [bulb, step, , opening] = of("run-open").contacts;
  assert.deepEqual([bulb.closed, bulb.word, bulb.moved], [true, "closed", "moved just now"]);
  assert.equal(bulb.counts, "1070 changes, 642 rejected; 214 presses, 2 doubtful");
  assert.equal(step.word, "open");
  assert.equal(opening.word, "closed");
  assert.match(opening.counts, /45 changes; its presses stand at the other one/);
  const quiet = (ms, age) => inputsShown(snapshot({ inputs: board({ lines: [line("step", false, 1, { quiet_ms: ms })] }) }), age).contacts[0].moved;
  assert.equal(quiet(4200, 900), "moved 5 s ago");
  assert.equal(quiet(600_000, 0), "moved 10 min ago");
  assert.equal(quiet(9_000_000, 0), "moved 2 h ago");
  assert.equal(of("unchecked").contacts[0].moved, "not moved yet");
});

test("a figure of the self-test has its unit and its meaning; without one it says why", () => {
  assert.equal(of("good").latency.figure, "214 ms");
  assert.match(of("good").latency.text, /As it should be/);
  assert.match(of("good").latency.when, /^2026-09-14 09:38$/);
  assert.match(of("latency-late").latency.text, /^Late/);
  const at = (mid) => inputsShown(snapshot({ inputs: board({ latency: { ...timed, mid_ms: mid } }) }), 0).latency.text;
  assert.match(at(99), /guess/);
  assert.match(at(100), /As it should be/);
  assert.match(at(401), /^Late/);
  assert.equal(of("latency-none").latency.figure, "");
  assert.match(of("latency-none").latency.text, /too few/);
});

test("no mark appears with a tone of the self-test but with two of the twelve", () => {
  const given = (asked, done = false) => inputsShown(snapshot({ inputs: board({ latency: { ...timed, asked, done } }) }), 0).latency.pips.filter((p) => p === "given").length;
  assert.deepEqual(Array.from({ length: 13 }, (_, n) => given(n)), [0, 0, 0, 0, 0, 4, 4, 4, 4, 8, 8, 8, 8]);
  assert.equal(given(12, true), 12);
});

test("the calibration of the bulb says what to do now, and how far it is", () => {
  assert.deepEqual(["bulb-rest", "bulb-squeeze"].map((n) => [of(n).mode, of(n).sentence]), [["bulb", words.say.bulbRest], ["bulb", words.say.bulbSqueeze]]);
  assert.equal(of("bulb-squeeze").bulb.pips.filter((p) => p === "given").length, 4);
  assert.equal(of("bulb-squeeze").bulb.pips.length, 10);
  assert.equal(of("bulb-squeeze").bulb.left, "1:24");
  assert.equal(of("bulb-squeeze", 1500).bulb.left, "1:22");
  for (const name of ["bulb-new", "bulb-known", "bulb-done", "bulb-unkept", "bulb-refused", "bulb-left"]) assert.equal(of(name).mode, "idle", name);
  assert.equal(of("good").bulb, null, "a board without a bulb sensor has none");
  assert.equal(of("bulb-new").sentence, words.say.missing);
  assert.match(of("bulb-new").bulb.kept, /no run can be opened/);
  assert.match(of("bulb-known").bulb.kept, /learned 2026-09-07 08:12\./);
  assert.match(inputsShown(snapshot({ inputs: board({ bulb: bulb("", { when: "" }) }) }), 0).bulb.kept, /not known/);
});

test("a bulb that was learned as giving much less or more air than before is doubted in words", () => {
  const beside = (of_before) => inputsShown(snapshot({ inputs: board({ bulb: bulb("done", { of_before }) }) }), 0).bulb.beside;
  assert.deepEqual([0, 80, 100, 125].map(beside), ["", "", "", ""]);
  assert.match(beside(79), /79 % .* may not have been flat/);
  assert.match(beside(126), /126 % .* clogged/);
});

test("why the bulb was not learned is said in words: of a key, of what the box says, and of a sensor that fails", async () => {
  const source = await go("session/inputs_bulb.go");
  const keys = [...source.matchAll(/^\tbulb\w+\s+= "(\w+)"/gm)].map((m) => m[1]);
  assert.equal(keys.length, 3);
  for (const key of keys) assert.doesNotMatch(words.bulbWhy(key), /_/, key);
  assert.equal(of("bulb-refused").bulb.why, "The ten squeezes disagree: squeeze 4 (-38 %), 7 (-29 %) away from the others; squeeze flat each time.");
  assert.match(words.bulbWhy("the calibration was broken off: the pressure sensor does not answer: remote I/O error"), /^The sensor does not work \(the pressure sensor does not answer: remote I\/O error\)\. Look/);
  assert.match(words.bulbWhy("the bulb cannot be calibrated: not opened yet"), /not opened yet/);
  assert.equal(words.bulbWhy("constructor"), "Constructor.");
});

test("the stages of a calibration are those of package wire", async () => {
  const source = await go("wire/wire.go");
  const stages = [...source.matchAll(/^\tBulb\w+\s+= "(\w+)"/gm)].map((m) => m[1]);
  assert.deepEqual(stages.sort(), [...new Set(Object.values(inputStates).flatMap((s) => s.inputs.bulb?.stage || []))].sort());
});

test("the clock runs between snapshots, in its own zone, and stands when stale", () => {
  const at = (age) => clockShown(snapshot({}), age);
  assert.deepEqual([at(0).date, at(0).time, at(0).zone], ["2026-09-14", "09:41:07", "+02:00"]);
  assert.equal(at(1200).time, "09:41:08");
  assert.equal(at(60_000).time, "09:41:09");
  assert.equal(clockShown(snapshot({ clock: { ...clockSet, wall: "2026-12-31T23:59:59Z" } }), 1000).date, "2027-01-01");
  assert.deepEqual([clockShown(snapshot({ clock: clockUnset }), 0).unset, at(0).unset], [true, false]);
  assert.equal(clockShown(snapshot({ clock: { ...clockSet, quality: "network" } }), 0).wants, "");
  assert.equal(clockShown(snapshot({ clock: { ...clockSet, quality: "restored", trusted: false } }), 0).wants, "right");
  assert.match(clockShown(snapshot({ clock: { ...clockSet, steps: 1 } }), 0).steps, /^1 jump since/);
});

test("what is sent for a clock is the box's own time, the person's, or this screen's", () => {
  assert.equal(wallOf(clockSet, null, 0), clockSet.wall);
  assert.equal(wallOf(clockSet, { date: "2026-09-15", time: "10:00", screen: false }, 0), "2026-09-15T10:00:00+02:00");
  assert.equal(wallOf(clockSet, { date: "2026-09-15", time: "10:00:05", screen: false }, 0), "2026-09-15T10:00:05+02:00");
  assert.equal(wallOf(clockSet, { date: "", time: "", screen: true }, Date.UTC(2026, 8, 15, 8, 0, 30)), "2026-09-15T10:00:30+02:00");
  assert.equal(wallOf(clockSet, { date: "", time: "10:00", screen: false }, 0), "");
  assert.equal(wallOf(clockSet, { date: "2026-13-40", time: "10:00", screen: false }, 0), "");
  assert.equal(wallAt(0, "-03:30"), "1969-12-31T20:30:00-03:30");
  assert.equal(wallAt(0, "Z"), "1970-01-01T00:00:00Z");
});

test("the box's figures have units, and what is bad says so in words", () => {
  const by = (b) => Object.fromEntries(boxFacts(b).map((f) => [f.name, f]));
  assert.deepEqual(boxFacts(box).filter((f) => !f.ok), []);
  assert.equal(by(box).Heat.of, "48.2 °C");
  assert.equal(by(box)["Saving takes"].of, "4.2 ms");
  assert.equal(by(box)["Room for records"].of, "11.3 GB");
  const bad = boxFacts(poorBox).filter((f) => !f.ok);
  assert.deepEqual(bad.map((f) => f.name), ["Supply", "Heat", "Room for records", "Saving takes"]);
  for (const f of bad) assert.match(f.word, /[A-Z]{3}/, f.name);
  for (const name of ["Supply", "Heat"]) assert.match(by(silentBox)[name].word, /does not tell/);
  assert.equal(by(silentBox).Heat.ok, true);
  assert.match(by({ ...box, store_of: 0 })["Room for records"].word, /not told/);
  assert.deepEqual([size(0), size(999), size(1500), size(250e6), size(2e12)], ["0 bytes", "999 bytes", "1.5 kB", "250 MB", "2.0 TB"]);
});

test("the Bench says why no run can be opened", () => {
  assert.match(shown(snapshot({ clock: clockUnset }), 0, "page-1").sentence, /not set/);
  assert.match(shown(snapshot({ inputs: board({ missing: "USB pedal: it is unplugged" }) }), 0, "page-1").sentence, /missing/);
  const health = shown(snapshot({ inputs: board({ missing: "USB pedal: it is unplugged" }) }), 0, "page-1").health[0];
  assert.deepEqual(health, { word: "USB pedal: it is unplugged", ok: false });
});

test("samples are at rest as a board is", () => {
  assert.deepEqual(atRest.filter((l) => l.closed).map((l) => l.line), ["taste_nc"]);
});
