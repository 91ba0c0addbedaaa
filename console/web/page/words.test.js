// SPDX-License-Identifier: Apache-2.0

import assert from "node:assert/strict";
import { readFile } from "node:fs/promises";
import { test } from "node:test";
import { catalogue } from "./lang/disk.mjs";
import { figures } from "./figures.js";
import { has } from "./lang.js";
import * as words from "./words.js";

const go = async (path) => readFile(new URL(`../../procedure/${path}`, import.meta.url), "utf8");

/** Values of a Go constant group of one type, from its first typed line. */
function constants(source, type) {
  const out = [...source.matchAll(new RegExp(`^\\t\\w+\\s+${type}\\s+= "(\\w+)"`, "gm"))].map((m) => m[1]);
  assert.ok(out.length > 2, `no constants of ${type} found`);
  return out;
}

test("every Why, Reason, Outcome and Stage has its words", async () => {
  const source = await go("procedure.go");
  for (const [type, of] of [["Why", words.whys], ["Reason", words.reasons], ["Outcome", words.outcomes], ["Outcome", words.verdicts], ["Stage", words.stages], ["Stage", figures]]) {
    for (const key of constants(source, type)) if (!(type === "Stage" && key === "running" && of === figures)) assert.ok(of[key], `${type} ${key} has no words`);
  }
  for (const key of constants(source, "Stage")) if (key !== "running") assert.ok(has(`wearer.${key}_title`), `the wearer has no words at ${key}`);
});

test("every reply of the wire has a sentence", async () => {
  const source = await readFile(new URL("../../wire/wire.go", import.meta.url), "utf8");
  const list = /var Refusals = \[\]string\{([^}]+)\}/.exec(source);
  assert.ok(list, "the list of replies is not where it was");
  const keys = [...list[1].matchAll(/"(\w+)"/g)].map((m) => m[1]);
  assert.ok(keys.length > 10);
  for (const key of keys) assert.ok(words.whys[key], key);
});

test("every exercise has words and a drawing", async () => {
  const list = /exerciseIDs = \[\]string\{([^}]+)\}/.exec(await go("rules.go"));
  assert.ok(list);
  const ids = [...list[1].matchAll(/"(\w+)"/g)].map((m) => m[1]);
  assert.equal(ids.length, 7);
  for (const id of ids) {
    for (const part of ["name", "short", "doing", "to_end", "care"]) assert.ok(words.exercises[id]?.[part], `${id} ${part}`);
    assert.ok(figures[id]?.length, `${id} has no drawing`);
  }
});

test("every question of a published rule set has words", async () => {
  for (const file of ["us-osha", "uk-hse"]) {
    const rules = JSON.parse(await go(`rules/${file}.json`));
    assert.ok(rules.before.length > 0);
    for (const q of rules.before) assert.ok(words.questions[q.id], q.id);
    for (const a of rules.agents) assert.ok(words.agents[a], a);
  }
});

test("every wearer's screen has a drawing", () => {
  for (const key of Object.keys(catalogue("en", "wearer")).map((k) => /^wearer\.(\w+)_title$/.exec(k)?.[1])) if (key && !["pair", "name_no"].includes(key)) assert.ok(figures[key], key);
});

test("no sentence is a key, and stars come in pairs", () => {
  for (const of of [words.whys, words.reasons, words.verdicts, words.nexts, words.proofs]) {
    for (const [key, text] of Object.entries(of)) {
      assert.doesNotMatch(text, /_/, key);
      assert.equal(text.split("*").length % 2, 1, key);
    }
  }
});

test("an unknown key is readable", () => {
  assert.equal(words.lookUp(words.whys, "some_new_why"), "some new why");
  assert.equal(words.lookUp(words.whys, "constructor"), "constructor");
  assert.equal(words.exercise("new_move").name, "new move");
  assert.equal(words.fault("wear_short: worn 12.0 s of 300 s"), "worn less long than asked (worn 12.0 s of 300 s)");
});
