// SPDX-License-Identifier: Apache-2.0

import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { test } from "node:test";
import { command, commander, replyWithinMs, slowAfterMs } from "./commands.js";
import { catalogue } from "./lang/disk.mjs";
import { has, t } from "./lang.js";
import { run, running, snapshot, states } from "./samples.js";
import { keysOf, pageOfPath, pages } from "./shortcuts.js";
import { mostParked, shown } from "./state.js";
import { doubled, doubleMs } from "./taps.js";
import { corrections, whys } from "./words.js";

const at = (snap, age = 0) => shown(snap, age, "page-1");
const waiting = (over) => run("donning", { run: "r-2", wearer: "Tomasz Okonjo", wait_ms: 3000, need_ms: 300_000, blocked: "parked", ...over });

test("a run that waits counts down between snapshots, and is ready when its wait is over", () => {
  const snap = snapshot({ parked: [waiting({ wait_ms: 1500 })] });
  const before = at(snap).parked[0];
  assert.equal(before.clock, "0:02");
  assert.equal(before.ready, false);
  const after = at(snap, 1600).parked[0];
  assert.equal(after.clock, "");
  assert.equal(after.ready, true);
  assert.equal(after.word, t("run.now.ready_now"));
  assert.match(at(snap, 1600).calls, /Tomasz Okonjo is ready/);
  assert.equal(at(snap).calls, "");
});

test("ready means more than time: an open question, a wrong name and a rinsed mouth are a person's to judge", () => {
  for (const over of [{ stage: "ready", wait_ms: 0, need_ms: 900_000, blocked: "questions_open" }, { wait_ms: 0, name_said: "no" }, { stage: "clearing", wait_ms: 0, need_ms: 0 }, { stage: "ready", wait_ms: 0, need_ms: 0, blocked: "abstinence_not_over" }]) {
    const p = at(snapshot({ parked: [waiting(over)] })).parked[0];
    assert.equal(p.ready, false, JSON.stringify(over));
    assert.notEqual(p.word, t("run.now.ready_now"));
  }
  assert.equal(at(snapshot({ parked: [waiting({ wait_ms: 0, name_said: "no" })] })).parked[0].word, whys.wrong_person);
});

test("a run is set aside between two steps alone, and no fourth one", () => {
  const park = (stage, parked = []) => at(snapshot({ parked, run: run(stage) })).may.park;
  for (const stage of ["ready", "clearing", "donning"]) assert.equal(park(stage), true, stage);
  for (const stage of ["screening", "dosing", "running", "proving_button", "proving_mist", "over"]) assert.equal(park(stage), false, stage);
  const full = snapshot({ parked: Array.from({ length: mostParked }, () => waiting({})), run: run("donning") });
  assert.equal(at(full).may.park, false);
  assert.equal(at(full).parkNot, whys.too_many_parked);
  assert.equal(at(full).may.takeUp, false, "nothing can be taken up while what is on the screen cannot be set aside");
});

test("a run that waits is taken up when none is on the screen, or when that one may wait", () => {
  const up = (r) => at(snapshot({ parked: [waiting({})], run: r })).may.takeUp;
  assert.equal(up(null), true);
  assert.equal(up(run("donning")), true);
  assert.equal(up(run("screening")), false);
  assert.equal(up(running(10, 100_000, 0)), false);
});

test("the second of two quick taps at one place is none, wherever a control has come to lie", () => {
  const tap = (at, x, y, over = {}) => ({ at, x, y, on: "a", keyed: false, scrolled: 0, ...over });
  assert.equal(doubled(null, tap(5, 10, 10)), false);
  assert.equal(doubled(tap(1000, 100, 700), tap(1180, 104, 703, { on: "b" })), true, "another control has come under the finger");
  assert.equal(doubled(tap(1000, 100, 700), tap(1000 + doubleMs, 100, 700)), false, "a second one that is meant");
  assert.equal(doubled(tap(1000, 100, 700), tap(1180, 300, 700)), false, "another place");
  assert.equal(doubled(tap(1000, 100, 700), tap(1180, 100, 700, { scrolled: 40 })), false, "the page was moved between them");
  assert.equal(doubled(tap(1000, 0, 0, { keyed: true }), tap(1030, 0, 0, { keyed: true })), true, "a key that repeats");
  assert.equal(doubled(tap(1000, 0, 0, { keyed: true }), tap(1030, 0, 0, { keyed: true, on: "b" })), false, "keys on two controls");
});

test("a command names the run that it means, not the one on the screen", () => {
  const snap = snapshot({ run: run("ready") });
  assert.equal(command("c-1", snap, "take_up", { run: "r-2" }).run, "r-2");
  assert.equal(command("c-1", snap, "park").run, snap.run.run);
  assert.equal(command("c-1", snap, "open", {}).run, undefined);
});

test("a reply that does not come is awaited in words before it is given up", () => {
  let now = 0;
  const said = [];
  const c = commander({ send: () => true, id: () => "p", now: () => now, said: (why) => said.push(why) });
  c.do(snapshot({}), "park");
  now = slowAfterMs;
  assert.equal(c.slow(), false);
  now = slowAfterMs + 1;
  assert.equal(c.slow(), true);
  now = replyWithinMs + 1;
  c.tick();
  assert.deepEqual(said, ["no_answer"]);
  assert.equal(c.slow(), false);
});

test("the code is shown until a page is paired", () => {
  assert.equal(at(states.ready).code, "4711");
  assert.equal(at(states.paired).code, "");
});

test("a name that the wearer denies is loud, and nobody is told to go on", () => {
  const s = at(states["wrong-person"]);
  assert.equal(s.wrongPerson, true);
  assert.equal(s.blocked, whys.wrong_person);
  assert.equal(s.tell, "");
  assert.equal(at(states.ready).wrongPerson, false);
});

test("what a screen reader hears does not change with a squeeze or a second", () => {
  const heard = (snap, age = 0) => at(snap, age).announce;
  const screening = (n) => snapshot({ run: run("screening", { screening: { squeezes: n, counted: n, most: 30, bin: 0 } }) });
  assert.equal(heard(screening(3)), heard(screening(17)));
  assert.equal(heard(snapshot({ run: running(10, 100_000, 1) })), heard(snapshot({ run: running(10, 117_000, 4) })));
  assert.notEqual(heard(snapshot({ run: running(10, 100_000, 1) })), heard(snapshot({ run: running(10, 130_000, 1) })), "another exercise is said");
  assert.match(heard(states.fail), /^Failed\b/);
  assert.doesNotMatch(heard(states.fail), /\*/);
});

test("there is something to say to the wearer at every step and in every exercise", () => {
  const seen = new Set();
  for (const stage of ["ready", "screening", "clearing", "donning", "dosing", "proving_button", "proving_mist"]) seen.add(at(snapshot({ run: run(stage) })).tell);
  for (let e = 0; e < 7; e++) seen.add(at(snapshot({ run: running(10, e * 60_000 + 1000, 0) })).tell);
  seen.add(at(snapshot({ run: run("donning", { wait_ms: 100_000, need_ms: 300_000 }) })).tell);
  const ended = (/** @type {object} */ over) => at(snapshot({ run: run("over", { verdict: { outcome: "not_valid", reason: "interrupted", next: "again", proof: "" }, ...over }) }));
  for (const s of [at(states.pass), at(states["pass-proved"]), ended({}), ended({ screening: { squeezes: 7, counted: 7, most: 30, bin: 10 } })]) seen.add(s.tell);
  assert.equal(seen.size, 7 + 7 + 5, [...seen].join(" "));
  for (const key of seen) assert.ok(has(`tell.${key}`), `tell.${key}`);
  assert.deepEqual(Object.keys(catalogue("en", "tell")).map((k) => k.slice(5)).sort(), [...seen].sort(), "no phrase that is never said");
});

// That the hood comes off before the facepiece, and that nothing is asked to come
// off that was never on: common practice, no source.
test("the end is worded by what is on: a proof first while it may be made, and no facepiece where none was", () => {
  const pass = at(states.pass);
  assert.equal(pass.verdict.mayProve, true);
  assert.match(pass.sentence, /Proof under the hood first.*else hood off, then facepiece/);
  assert.equal(pass.tell, "over_proof");
  assert.doesNotMatch(t("tell.over_proof"), /comes? off/);
  assert.ok(pass.verdict.next);
  for (const proof of ["tasted", "not_answered"]) {
    const s = at(snapshot({ run: { ...states.pass.run, verdict: { outcome: "pass", reason: "", next: "proof", proof } } }));
    assert.equal(s.verdict.next, "", "what was done is not offered again");
    assert.match(s.sentence, /Hood off first, facepiece last/);
    assert.equal(s.tell, "over");
  }
  const stopped = { outcome: "not_valid", reason: "stopped_for_welfare", next: "again", proof: "" };
  for (const s of [at(states["cannot-taste"]), at(snapshot({ run: run("over", { verdict: stopped }) }))]) {
    assert.doesNotMatch(`${s.sentence} ${t(`tell.${s.tell}`)}`, /facepiece/, s.sentence);
  }
  assert.match(at(states.fail).sentence, /Hood off first, facepiece last/);
});

test("a refusal belongs to the step in which it was given", () => {
  const noted = (ago_ms, stage_ms) => at(snapshot({ run: run("screening", { stage_ms, notes: [{ what: "take", why: "nebuliser_of_other_role", ago_ms }] }) }));
  assert.equal(noted(900, 4000).note, whys.nebuliser_of_other_role);
  assert.equal(noted(900, 4000).noteMs, 900);
  assert.equal(noted(4001, 4000).note, "", "it was said of the step before");
});

test("what keeps a run before the test is named and counted, answers of no first", () => {
  const q = (...answers) => ["nothing_but_water", "no_hair_at_seal", "cleared"].map((id, i) => ({ id, answered: answers[i] !== "", yes: answers[i] === "yes" }));
  const said = (...answers) => at(snapshot({ run: run("ready", { questions: q(...answers), blocked: "questions_open" }) })).sentence;
  assert.equal(said("yes", "", ""), `2 questions are still to be asked, first: “${t("run.questions.no_hair_at_seal")}”.`);
  assert.equal(said("yes", "yes", ""), `1 question is still to be asked: “${t("run.questions.cleared")}”.`);
  const heard = (...answers) => at(snapshot({ run: run("ready", { questions: q(...answers), blocked: "questions_open" }) })).announce;
  assert.equal(heard("yes", "", ""), heard("yes", "yes", ""), "one announcement for the step, not one for each answer");
  assert.equal(said("", "no", "no"), `2 answers are no, first: “${t("run.questions.no_hair_at_seal")}”. Put it right, then ask again.`);
});

test("the bin names the doubtful squeezes that count for it", () => {
  const title = (squeezes, counted) => at(snapshot({ run: run("clearing", { screening: { squeezes, counted, most: 30, bin: 20 } }) })).title;
  assert.equal(title(9, 11), "Tasted after 9 squeezes and 2 doubtful: 11 for the bin");
  assert.equal(title(11, 11), "Tasted after 11 squeezes");
});

test("no mist is no reason to take a squeeze back: it ends the run, by the product's own rule", () => {
  for (const reason of corrections.take) assert.doesNotMatch(reason, /mist/i);
  assert.equal(corrections.take.length, 2);
});

test("no squeeze is offered to be added once the box would refuse it, and it is said why", () => {
  const half = at(snapshot({ run: running(10, 101_000, 3, { no_add: "half_by_hand" }) }));
  assert.equal(half.noAdd, t("run.whys.half_by_hand"));
  assert.match(half.noAdd, /^More than half of a dose cannot be added by hand/);
  assert.equal(half.may.correct, true, "a squeeze may be taken back all the same");
  assert.equal(at(states.due).noAdd, "");
});

test("the help has a section and its keys for every page, and a key means one thing", () => {
  for (const page of pages) {
    for (const part of ["title", "what", "do.1"]) assert.ok(has(`help.${page}.${part}`), `help.${page}.${part}`);
    const keys = keysOf(page, true);
    assert.equal(new Set(keys.map((k) => k.key)).size, keys.length, page);
    for (const k of keys) assert.ok(has(`help.key.${k.name}`), `help.key.${k.name}`);
  }
  assert.ok(keysOf("bench", true).some((k) => k.name === "bulb"));
  assert.ok(!keysOf("bench", false).some((k) => k.sim));
  assert.equal(pageOfPath("/"), "bench");
  assert.equal(pageOfPath("/people/p-7"), "people");
  assert.equal(pageOfPath("/nowhere"), "");
});

test("the keys that the help names are those that the Bench listens to", () => {
  const source = readFileSync(new URL("bench.js", import.meta.url), "utf8");
  for (const { key } of keysOf("bench", false)) {
    if (key === "1" || key === "Esc") continue;
    assert.ok(source.includes(`"${key.toLowerCase()}"`) || new RegExp(`\\b${key.toLowerCase()}: "`).test(source), `${key} is not in bench.js`);
  }
});
