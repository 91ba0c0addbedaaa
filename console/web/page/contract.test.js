// SPDX-License-Identifier: Apache-2.0

import assert from "node:assert/strict";
import { readFile } from "node:fs/promises";
import { test } from "node:test";
import { command, commander } from "./commands.js";
import { contract, forms, read, readChoices } from "./contract.js";
import { backOff } from "./link.js";
import { choices, record, states } from "./samples.js";
import { ofRecord, readRecord, when, whoOf } from "./state-record.js";

const wire = (await Promise.all(["wire", "gallery"].map((f) => readFile(new URL(`../../wire/${f}.go`, import.meta.url), "utf8")))).join("\n");

test("the forms are those of package wire, field by field", () => {
  for (const [name, form] of Object.entries(forms)) {
    const body = new RegExp(`^type ${name} struct \\{\\n([^}]*)\\n\\}`, "m").exec(wire);
    assert.ok(body, `wire has no ${name}`);
    const fields = [...body[1].matchAll(/json:"(\w+)(,omitempty)?"/g)];
    assert.deepEqual(fields.map((f) => f[1]).sort(), Object.keys(form).sort(), name);
    for (const f of fields) assert.equal(form[f[1]].endsWith("?"), f[2] !== undefined, `${name}.${f[1]} may be left out`);
  }
  assert.equal(contract, Number(/const Contract = (\d+)/.exec(wire)?.[1]));
});

test("every sample is a snapshot", () => {
  for (const s of Object.values(states)) assert.deepEqual(read(JSON.stringify(s)), s);
});

test("a message that does not fit is refused and the field named", () => {
  const bad = (change) => {
    const s = structuredClone(states.due);
    change(s);
    return () => read(JSON.stringify(s));
  };
  assert.throws(bad((s) => delete s.run.top_ups), /Snapshot\.run\.top_ups/);
  assert.throws(bad((s) => (s.run.top_ups[3].given = "5")), /top_ups\[3\]\.given/);
  assert.throws(bad((s) => (s.run.squeezes_ms = null)), /squeezes_ms/);
  assert.throws(bad((s) => delete s.inputs), /inputs/);
  assert.throws(bad((s) => (s.type = "constructor")), /not a message/);
  assert.throws(() => read("{"), SyntaxError);
  assert.throws(() => read("null"), /not a message/);
});

test("choices are checked", () => {
  assert.deepEqual(readChoices(structuredClone(choices)), choices);
  assert.throws(() => readChoices({ ...choices, people: null }), /people/);
});

test("a command names the run and the fence that are on the screen", () => {
  const c = command("page-1-1", states.due, "touched", { input: { do: "touched" } });
  assert.deepEqual(c, { type: "command", id: "page-1-1", fence: 3, run: "r-20260914-07", do: "touched", input: { do: "touched" } });
  assert.equal(command("x", states["no-run"], "open").run, undefined);
});

test("a command is sent once; a refusal and a missing reply are said", () => {
  const sent = [];
  const said = [];
  let now = 0;
  const c = commander({ send: (m) => sent.push(m) > 0, id: () => "page-1", now: () => now, said: (why) => said.push(why) });
  c.do(states.due, "hood_off");
  c.do(states.due, "touched");
  c.reply({ type: "reply", id: sent[0].id, ok: false, why: "stale" });
  c.reply({ type: "reply", id: sent[0].id, ok: false, why: "stale" });
  now = 3001;
  c.tick();
  c.tick();
  assert.deepEqual(said, ["stale", "no_answer"]);
  assert.equal(sent.length, 2);
  assert.notEqual(sent[0].id, sent[1].id);
});

test("waits between attempts grow to five seconds and a quarter", () => {
  assert.equal(backOff(0, 0), 250);
  assert.equal(backOff(3, 0), 2000);
  assert.equal(backOff(50, 0), 5000);
  assert.ok(backOff(50, 0.999) < 6250);
});

test("a record's strip stands on the record", () => {
  const full = record("");
  assert.equal(readRecord(structuredClone(full)).number, 41);
  const { strip } = ofRecord(full);
  assert.equal(strip.lengthMs, 420_000);
  assert.equal(strip.nowMs, 420_000);
  assert.equal(strip.topUps.length, 13);
  assert.throws(() => readRecord({ record: { schema: "other/1" } }), /not a record/);
  const early = record("");
  early.record.fit = null;
  assert.equal(ofRecord(early).strip.nowMs, null);
});

test("labels of people, facepieces and times", () => {
  assert.equal(when("2026-09-14T09:41:07+02:00"), "2026-09-14 09:41");
  assert.equal(when(""), "");
  assert.equal(whoOf({ make: "Corrie", model: "half mask", size: "medium" }), "Corrie, half mask, medium");
});
