// SPDX-License-Identifier: Apache-2.0

import assert from "node:assert/strict";
import { readFile } from "node:fs/promises";
import { test } from "node:test";
import { figures, tick } from "./figures.js";
import { wearerLanguages } from "./lang.js";
import { run, running, snapshot, states } from "./samples.js";
import { breath, languageOf, lineAt, passageOf, wearerSees } from "./state-wearer.js";

const own = { typed: "", said: "", answered: "", unsent: false };
const sees = (over, age = 0, o = own) => wearerSees(snapshot({ run: over }), age, o);
const book = async (lang, area) => JSON.parse(await readFile(new URL(`./lang/${lang}/${area}.json`, import.meta.url), "utf8"));

test("each stage has its picture and its words; an exercise has ticks of five seconds", () => {
  const deep = sees(running(10, 83_000, 0));
  assert.equal(deep.words, "deep_breathing");
  assert.equal(deep.left, 8); // 37 s left of 60, in ticks of 5 s
  assert.equal(deep.breath, "in");
  assert.equal(sees(running(10, 60_000, 0)).left, 12);
  assert.equal(sees(running(10, 119_999, 0)).left, 1);
  assert.equal(sees(running(10, 83_000, 0), 2500).key, "lost");
  assert.equal(sees(running(10, 119_500, 0), 1000).words, "head_side_to_side", "the page goes on between snapshots");
  assert.equal(wearerSees(null, 0, own).key, "lost");
  assert.equal(wearerSees(snapshot({ pairing: "needed", run: null }), 0, own).key, "pair");
  assert.equal(sees(run("donning", { wait_ms: 150_000, need_ms: 300_000, name_said: "yes", wearer: "" })).left, 6);
});

test("nothing of a verdict, a count or a level reaches the screen", () => {
  const over = JSON.stringify(wearerSees(snapshot({ run: run("over", { wearer: "" }) }), 0, own));
  for (const name of ["pass", "fail", "not-valid", "cannot-taste"]) assert.equal(JSON.stringify(wearerSees(states[name], 0, own)), over, name);
  const at = (bin, given) => JSON.stringify(sees(running(bin, 83_000, given, { screening: { squeezes: bin, counted: bin, most: 30, bin } })));
  assert.equal(at(10, 0), at(30, 15));
});

test("the name is asked while somebody may be the wrong person, and then never shown", () => {
  for (const stage of ["ready", "clearing", "donning"]) assert.equal(sees(run(stage)).name, "Ilse Brandvold", stage);
  for (const stage of ["screening", "dosing", "proving_button", "over", "proving_mist"]) assert.equal(sees(run(stage)).name, "", stage);
  assert.equal(sees(running(10, 1000, 0)).name, "");
  assert.equal(sees(run("ready", { name_said: "yes" })).key, "ready");
  assert.equal(sees(run("ready", { name_said: "no" })).key, "tell");
  assert.equal(sees(run("ready"), 0, { ...own, answered: "no" }).key, "tell", "no is believed at once");
  assert.equal(sees(run("ready"), 0, { ...own, answered: "yes" }).key, "name", "yes only when the box has it");
  assert.equal(sees(run("ready", { wearer: "" })).key, "ready");
});

test("a reminder to press stands wherever a taste counts", () => {
  for (let ms = 0; ms < 420_000; ms += 7000) assert.equal(sees(running(10, ms, 0)).press, "press_any");
  assert.equal(sees(run("dosing")).press, "press_any");
  assert.equal(sees(run("screening")).press, "press_soon");
  assert.equal(wearerSees(null, 0, own).press, "press_any");
});

test("a breath is slow: six in a minute", () => {
  let turns = 0;
  for (let t = 100; t <= 60_000; t += 100) if (breath(t) === "in" && breath(t - 100) === "out") turns++;
  assert.equal(turns, 6);
  for (let n = 0; n < 60_000; n += 500) assert.equal(sees(running(10, 60_000 + n, 0)).breath, breath(n), "in step with the exercise, beginning with a breath in");
});

test("the language: chosen, else the wearer's, else the page's", () => {
  const polish = snapshot({ run: run("ready", { wearer_language: "pl" }) });
  assert.equal(languageOf("ar", polish, "en", wearerLanguages), "ar");
  assert.equal(languageOf("", polish, "fr", wearerLanguages), "pl");
  assert.equal(languageOf("", snapshot({}), "fr", wearerLanguages), "fr");
  assert.equal(languageOf("", snapshot({ run: run("ready", { wearer_language: "xx" }) }), "en", wearerLanguages), "en");
});

// Reading aloud goes at about 140 words a minute in English (common practice, no source).
test("a passage lasts about a minute, in twelve lines, and each language has both", async () => {
  for (const { code } of wearerLanguages) {
    const words = await book(code, "passages");
    assert.deepEqual(Object.keys(words).sort(), ["passages.water", "passages.yard"], code);
    for (const [key, text] of Object.entries(words)) {
      const lines = text.split("\n");
      assert.equal(lines.length, 12, `${code} ${key}`);
      const n = text.split(/\s+/).length;
      if (code === "en") assert.ok(n >= 130 && n <= 150, `${code} ${key}: ${n} words`);
      else assert.ok(n >= 95 && n <= 155 && text.length > 500 && text.length < 900, `${code} ${key}: ${n} words, ${text.length} letters`);
      assert.doesNotMatch(text, /\d/, "figures are read in many ways");
      const line = (part) => lineAt(lines, part);
      assert.equal(line(0), 0);
      assert.equal(line(1), 11);
      let last = 0;
      for (let p = 0; p <= 1; p += 0.005) {
        assert.ok(line(p) >= last && line(p) <= last + 1, `${code} ${key} at ${p}`);
        last = line(p);
      }
      for (let i = 0; i < 12; i++) {
        let span = 0;
        for (let p = 0; p < 1; p += 0.001) if (line(p) === i) span += 0.06;
        assert.ok(span > 2.4 && span < 8, `${code} ${key} line ${i + 1} is marked for ${span.toFixed(1)} s`);
      }
    }
  }
  assert.notEqual(passageOf("r000011"), passageOf("r000012"));
  assert.equal(sees(running(10, 270_000, 0)).passage.part, 0.5);
});

test("every language has every word of the page, with the same places", async () => {
  const en = await book("en", "wearer");
  const source = await readFile(new URL("./view-wearer.js", import.meta.url), "utf8");
  for (const m of source.matchAll(/t\("(wearer\.\w+)"/g)) assert.ok(en[m[1]], m[1]);
  for (const key of Object.keys(figures)) {
    const words = key === "tell" ? "name_no" : key;
    if (key !== "name") for (const part of ["title", "hint"]) assert.ok(en[`wearer.${words}_${part}`], `${words}_${part}`);
  }
  for (const { code } of wearerLanguages) {
    const b = await book(code, "wearer");
    assert.deepEqual(Object.keys(b).sort(), Object.keys(en).sort(), code);
    for (const [key, text] of Object.entries(b)) {
      assert.ok(text.trim(), `${code} ${key}`);
      assert.deepEqual([...text.matchAll(/\{\w+\}/g)].map((x) => x[0]).sort(), [...en[key].matchAll(/\{\w+\}/g)].map((x) => x[0]).sort(), `${code} ${key}`);
      if (code !== "en" && text.length > 12) assert.notEqual(text, en[key], `${code} ${key} is English`);
      if (code === "ar") assert.match(text, /[\u0600-\u06ff]/, key);
    }
    // Deep breathing and bending can make dizzy: the caution stands in every language.
    for (const key of ["wearer.deep_breathing_hint", "wearer.bending_over_hint"]) assert.match(b[key], /\?|؟/, `${code} ${key} asks after dizziness`);
  }
});

test("the drawings: all movements are known to the style sheet, and each stands still where nothing may move", async () => {
  const css = await readFile(new URL("./wearer.css", import.meta.url), "utf8");
  const walk = (parts, of) => parts.flatMap((p) => [...(p[of] ? [p[of]] : []), ...walk(p.parts ?? [], of)]);
  for (const [id, parts] of Object.entries(figures)) {
    for (const move of walk(parts, "move")) assert.ok(css.includes(`.m-${move}`), `${id}: ${move}`);
    if (walk(parts, "only").includes("moving")) assert.ok(walk(parts, "only").includes("still"), `${id} loses something when nothing moves`);
  }
  assert.match(css, /prefers-reduced-motion/);
  for (const physical of css.matchAll(/(?:margin|padding|border|inset)-(?:left|right)|text-align:(?:left|right)|[;{](?:left|right):/g)) assert.fail(`${physical[0]} is not logical`);
});

test("the ring: a tick is a stroke, and a dot when it is gone", () => {
  const ends = (d) => [...d.matchAll(/-?[\d.]+ -?[\d.]+(?=A|$)/g)].map((m) => m[0].split(" ").map(Number));
  const long = (d) => Math.hypot(ends(d)[0][0] - ends(d)[1][0], ends(d)[0][1] - ends(d)[1][1]);
  for (let i = 0; i < 12; i++) {
    assert.ok(long(tick(i, 12, false)) > 60);
    assert.ok(long(tick(i, 12, true)) < 1);
  }
});
