// SPDX-License-Identifier: Apache-2.0

import assert from "node:assert/strict";
import { readFile } from "node:fs/promises";
import { test } from "node:test";
import "./lang/disk.mjs";
import { api, ApiError, empty, formOf, readPerson } from "./api.js";
import * as s from "./samples-office.js";
import * as st from "./state-office.js";
import * as words from "./words-office.js";
import { whys } from "./words.js";

const go = (path) => readFile(new URL(`../../${path}`, import.meta.url), "utf8");

/** An API that answers with what it is given, and what it was asked. */
function fake(answers) {
  const asked = [];
  const box = api(async (url, init) => {
    asked.push([init.method, url, init.body ? JSON.parse(init.body) : undefined]);
    const a = answers.shift();
    if (a instanceof Error) throw a;
    const { status = 200, body = {}, date = "" } = a;
    return new Response(JSON.stringify(body), { status, headers: { "Content-Type": "application/json", ...(date ? { Date: date } : {}) } });
  });
  return { box, asked };
}

test("every reason for a refusal has its sentence", async () => {
  const sources = await Promise.all(["check.go", "change.go", "kit.go", "people.go", "sweep.go"].map((f) => go(`programme/${f}`)));
  const refused = sources.flatMap((t) => [...t.matchAll(/refuse\("(\w+)"/g)].map((m) => m[1]));
  assert.ok(refused.length > 20, "the refusals are not where they were");
  const later = ["field", "type", "strokes", "months", "hoods"]; // of pages that are not among these
  for (const why of refused) assert.ok(words.refusals[why] || whys[why] || later.includes(why), why);
  const problem = await go("api/problem.go");
  const keys = [...problem.matchAll(/^\tWhy\w+\s+= "(\w+)"/gm)].map((m) => m[1]);
  assert.ok(keys.length > 10, "the API's reasons are not where they were");
  for (const why of keys) assert.ok(words.refusals[why] || whys[why] || ["method", "not_first"].includes(why), why);
});

test("triggers and reasons for a test are those of the programme", async () => {
  const facts = await go("programme/facts.go");
  const keys = [...facts.matchAll(/Trigger = "(\w+)"/g)].map((m) => m[1]);
  assert.deepEqual(words.triggers.map((t) => t.key), keys);
  const views = await go("programme/views.go");
  const list = /func Whys\(\) \[\]string \{\s+return \[\]string\{([^}]+)\}/.exec(views);
  assert.ok(list, "the reasons are not where they were");
  const whysOf = [...list[1].matchAll(/"(\w+)"/g)].map((m) => m[1]);
  assert.ok(whysOf.length > 4);
  for (const why of whysOf) assert.ok(words.dueWhys[why], why);
});

test("forms have the fields of the programme's forms", async () => {
  const facts = await go("programme/facts.go");
  for (const [type, form] of [["PersonForm", empty.person], ["FacepieceForm", empty.facepiece], ["HoodForm", empty.hood], ["NebuliserForm", empty.nebuliser], ["SolutionForm", empty.solution]]) {
    const body = new RegExp(`type ${type} struct \\{([^}]+)\\}`).exec(facts);
    assert.ok(body, type);
    assert.deepEqual(Object.keys(form), [...body[1].matchAll(/json:"(\w+)"/g)].map((m) => m[1]), type);
  }
});

test("a due day has a word and a shape, and they agree", () => {
  const today = "2026-09-14";
  assert.deepEqual(st.standing(st.dueNow, today), { pip: "cross", word: "due now", key: "now" });
  assert.equal(st.standing("2026-09-14", today).word, "due today");
  assert.equal(st.standing("2026-09-13", today).word, "overdue 1 day");
  assert.deepEqual(st.standing("2026-09-15", today), { pip: "half", word: "due in 1 day", key: "soon" });
  assert.equal(st.standing("2026-10-13", today).key, "soon");
  assert.deepEqual(st.standing("2026-10-14", today), { pip: "given", word: "good until 2026-10-14", key: "good" });
  assert.equal(st.daysBetween("2028-02-28", "2028-03-01"), 2);
  assert.equal(st.addDays("2026-12-31", 1), "2027-01-01");
});

test("a person stands as the worst facepiece does", () => {
  const [ilse, tomasz, , sofia, layla, crane, gone] = s.people;
  assert.equal(st.personStanding(ilse, s.today).key, "soon");
  assert.equal(st.personStanding(tomasz, s.today).word, "overdue 74 days");
  assert.equal(st.personStanding(crane, s.today).key, "none");
  assert.equal(st.personStanding(gone, s.today).key, "left");
  const label = (id) => st.labelOf(s.facepieces, id);
  assert.equal(st.personSentence(sofia, s.today, label), "*Due now* with Corrie Half 2 medium: never tested with it. No clearance is on record.");
  assert.match(st.personSentence(layla, s.today, label), /^\*Due now\* with Dunmore Fold P3 one size: something changed since\.$/);
  assert.match(st.personSentence(crane, s.today, label), /Name one/);
  assert.match(st.personSentence(gone, s.today, label), /^Left on \*2026-06-30\*/);
});

test("a year is drawn in order: the pass before what it is good for, today in the middle", () => {
  const shapes = st.yearLine("2026-09-14", "2025-09-26", "2026-09-26");
  const at = (cls) => shapes.filter((x) => x.cls === cls);
  assert.equal(at("y-now")[0].at.x1, 150);
  const [passed] = at("y-pip y-given");
  const [due] = at("y-pip");
  assert.ok(passed.at.cx < 150 && due.at.cx > 150);
  assert.equal(at("y-good").length, 1);
  assert.equal(at("y-cross").length, 0);
  const over = st.yearLine("2026-09-14", "2025-01-02", st.dueNow);
  assert.equal(over.filter((x) => x.cls === "y-cross").length, 1, "what is due is crossed");
  assert.equal(over.filter((x) => x.cls === "y-lapsed").length, 1);
  assert.ok(over.every((x) => Object.values(x.at).every((v) => typeof v === "string" || (Number.isFinite(v) && v >= 0 && v <= 300))), "all inside the drawing");
});

test("a filling gets old: good, a quarter of an hour before, stale", () => {
  const n = s.aNebuliser("w1", { mark: "W1", role: "weak", filled: "2026-09-14T08:00:00+02:00", checked: "2026-09-14T08:02:00+02:00", good: true, stale_in_s: 1000 });
  assert.equal(st.nebuliserShown(n, 0).key, "good");
  assert.equal(st.nebuliserShown(n, 99_000).key, "good");
  assert.equal(st.nebuliserShown(n, 100_000).key, "warn");
  assert.match(st.nebuliserShown(n, 100_000).sentence, /\*15 minutes\*/);
  assert.equal(st.nebuliserShown(n, 1_000_000).key, "stale");
  assert.equal(st.nebuliserShown({ ...n, stale_in_s: null, filled: "" }, 0).key, "empty");
  assert.equal(st.nebuliserShown({ ...n, stale_in_s: null }, 0).key, "unknown", "an age that nobody knows is not good");
  assert.equal(st.nebuliserShown({ ...n, good: false }, 0).key, "clogged");
  assert.equal(st.nebuliserShown({ ...n, checked: "2026-09-14T07:00:00+02:00" }, 0).key, "unseen", "a check before the filling says nothing of it");
  assert.equal(st.nebuliserShown({ ...n, checked: "" }, 0).key, "unseen");
  assert.equal(st.hours(3599), "0:59");
  assert.equal(st.hours(-5), "0:00");
});

test("the sentence of the kit is the most urgent thing", () => {
  assert.match(st.kitSentence(s.kit, 0, s.today), /^S1 is good for \*11 minutes\*/);
  assert.match(st.kitSentence(s.kit, 700_000, s.today), /^S1 was filled over four hours ago/);
  assert.equal(st.kitSentence(s.calmKit, 0, s.today), "Everything is filled, fresh and seen to mist.");
  assert.match(st.kitSentence(s.calmKit, 0, "2026-10-02"), /Lot W-11 is past its date/);
  assert.match(st.kitSentence({ hoods: [], nebulisers: [], solutions: [] }, 0, s.today), /Enter two/);
});

test("a nebuliser takes its own role and agent within the date, and nothing else", () => {
  const [w1, s1] = s.kit.nebulisers;
  const [weak, strong, old, sweet] = s.kit.solutions;
  assert.equal(st.fillRefused(s1, strong, s.today), "");
  assert.equal(st.fillRefused(w1, weak, s.today), "");
  assert.match(st.fillRefused(w1, strong, s.today), /W1 is for the weak solution/);
  assert.match(st.fillRefused(s1, weak, s.today), /S1 is for the strong solution/);
  assert.match(st.fillRefused(s1, old, s.today), /past its date 2026-08-31/);
  assert.match(st.fillRefused(s1, sweet, s.today), /keeps to bitter/);
  assert.equal(st.fillRefused(s1, strong, "2026-10-01"), "", "the day of expiry is the last good one");
  assert.match(st.fillRefused(s1, strong, "2026-10-02"), /past its date/);
});

test("a recipe is written as the box writes it", async () => {
  const all = JSON.parse(await go("programme/recipes.json"));
  const bitter = all.find((r) => r.id === "bitter-strong");
  assert.equal(st.recipeText(bitter), "337.5 mg denatonium benzoate, USP, 200 ml 5 % salt (NaCl) solution. Dissolve the denatonium benzoate in the salt solution."); // 29 CFR 1910.134, Appendix A
  for (const r of all) assert.match(st.recipeText(r), /^[\d.]+ (g|mg|ml) /, r.id);
});

test("a hood larger than the published one warns", async () => {
  const warnings = await go("programme/warnings.go");
  const [, tenths] = /AcrossMM\*10 > hoodAcrossMM\*(\d+)/.exec(warnings) ?? [];
  assert.equal(st.hoodMM.over, Number(tenths) / 10, "page and box let the same size pass");
  assert.match(warnings, /TallMM\*10 > hoodTallMM\*11/);
  assert.equal(st.hoodShown({ across_mm: 305, tall_mm: 356 }).warn, false);
  assert.equal(st.hoodShown({ across_mm: 335, tall_mm: 391 }).warn, false);
  assert.equal(st.hoodShown({ across_mm: 336, tall_mm: 356 }).warn, true);
  assert.equal(st.hoodShown({ across_mm: 305, tall_mm: 392 }).warn, true);
  assert.equal(st.hoodShown({ across_mm: 320, tall_mm: 356, oversized: true }).warn, true, "the box's word counts");
  assert.equal(st.hoodShown({ across_mm: 0, tall_mm: 0 }).word, "not measured yet");
  assert.equal(st.hoodShown({ across_mm: 305, tall_mm: 356 }).volume, "26.0 l"); // 12 by 14 inches: 25.9 l
});

test("a list is tried only once a name or number has its column", () => {
  assert.match(st.mappingLacks({}), /name.*company number/);
  assert.match(st.mappingLacks({ job: 0 }), /name/);
  for (const field of ["name", "number", "family_name"]) assert.equal(st.mappingLacks({ [field]: 0 }), "", "the first column is one too");
});

test("columns of a list are the fields of the programme", async () => {
  const source = await go("programme/import.go");
  const fields = [...source.matchAll(/Field = "(\w+)"/g)].map((m) => m[1]);
  assert.ok(fields.length > 5, "the fields are not where they were");
  assert.deepEqual(words.columns().map(([f]) => f), fields);
});

test("a form offers languages that something comes in, and keeps what was noted", () => {
  const codes = (noted) => words.languageChoices(noted).map(([code]) => code);
  assert.deepEqual(codes("").sort(), ["ar", "en", "es", "fr", "pl", "pt", "ro"]);
  assert.deepEqual(codes("pl"), codes(""));
  assert.deepEqual(codes("de"), [...codes(""), "de"]);
  assert.deepEqual(words.languageChoices("Polish").at(-1), ["Polish", "Polish"], "what an older list said");
});

test("only the newest question's answer is taken", () => {
  const ask = st.newest();
  const first = ask();
  const second = ask();
  assert.equal(first(), false);
  assert.equal(second(), true);
});

test("ids of new entries are what the box takes, and their own", () => {
  assert.equal(st.newId("Zieliński Half 2, größe M", []), "zielinski-half-2-gro-e-m");
  assert.equal(st.newId("W1", ["w1", "w1-2"]), "w1-3");
  assert.match(st.newId("Σ", []), /^[a-z0-9-]{1,60}$/);
  assert.match(st.newId("x".repeat(90), []), /^x{50}$/);
});

test("errors are told in words", async () => {
  assert.equal(st.inWords(new ApiError(409, "mark_taken", "another nebuliser has the mark W1")), words.refusals.mark_taken);
  assert.equal(st.inWords(new ApiError(409, "missing", "the size is missing")), "Something is still missing: the size is missing.");
  assert.equal(st.inWords(new ApiError(0, "no_answer", "")), words.refusals.no_answer);
  assert.equal(st.inWords(new ApiError(500, "brand_new", "the disk is full")), "The disk is full.");
  assert.equal(st.inWords(new ApiError(500, "constructor", "")), "The box refused, and did not say why.");
  assert.match(st.inWords(new TypeError("x is not a function")), /This page went wrong/);
  const { box } = fake([{ status: 422, body: { detail: "validation failed", why: "malformed", errors: [{ location: "body.form.name", message: "too long" }] } }, new TypeError("failed to fetch")]);
  await assert.rejects(box.savePerson("p-1", empty.person, "Oda"), (e) => /body\.form\.name: too long/.test(st.inWords(e)));
  await assert.rejects(box.kit(), (e) => st.inWords(e) === words.refusals.no_answer);
});

test("the API is asked as it is described", async () => {
  const { box, asked } = fake([
    { body: { people: [{ id: "p-00000001", name: "Ilse" }], next: "" } }, { body: { id: "p-00000002" } }, {}, {}, { body: { hoods: null, nebulisers: [{ id: "w1", filled: "", stale_in_s: 5 }], solutions: [] } },
  ]);
  const got = await box.people("il b", "", 30);
  assert.deepEqual(got.people[0].due, []);
  assert.equal(await box.addPerson(empty.person, "Oda"), "p-00000002");
  await box.trigger("p-00000002", "dental", "2026-09-14", "Oda");
  await box.mist("w1", false, ["r1"], "Oda");
  const kit = await box.kit();
  assert.equal(kit.nebulisers[0].stale_in_s, null, "what is not filled has no time left");
  assert.deepEqual(kit.hoods, []);
  assert.deepEqual(asked.slice(0, 4), [
    ["GET", "/api/v1/people?find=il+b&limit=30", undefined], ["POST", "/api/v1/people", { form: empty.person, by: "Oda" }],
    ["POST", "/api/v1/people/p-00000002/trigger", { trigger: "dental", on: "2026-09-14", by: "Oda" }], ["POST", "/api/v1/nebulisers/w1/mist", { good: false, shown: ["r1"], by: "Oda" }],
  ]);
});

test("a day's list, a return and the next part of a search are asked for as the API has them", async () => {
  const { box, asked } = fake([{}, {}, {}, { body: { day: "2026-09-20", expected: [{ person: "p-1", listed: true, place: 2, due: null }, { person: "p-2" }] } }, { body: { people: [{ id: "p-00000003" }], next: "" } }]);
  await box.listed("p-1", "2026-09-20", 2, false, "Oda");
  await box.listed("p-1", "2026-09-20", 2, true, "Oda");
  await box.back("p-1", "Oda");
  const day = await box.day("2026-09-20");
  assert.deepEqual(day.expected.map((e) => [e.listed, e.place, e.due]), [[true, 2, []], [false, 0, []]], "who is only due is not on the list");
  await box.people("il", "abc_-", 30);
  assert.deepEqual(asked, [
    ["POST", "/api/v1/people/p-1/listed", { day: "2026-09-20", place: 2, off: false, by: "Oda" }], ["POST", "/api/v1/people/p-1/listed", { day: "2026-09-20", place: 2, off: true, by: "Oda" }],
    ["POST", "/api/v1/people/p-1/back", { by: "Oda" }], ["GET", "/api/v1/day?on=2026-09-20", undefined], ["GET", "/api/v1/people?find=il&after=abc_-&limit=30", undefined],
  ]);
  // The words of the requests are those of the box.
  const people = await go("api/people.go");
  assert.match(people, /type ListedBody|ListedBody struct/);
  for (const field of ["day", "place", "off"]) assert.match(people, new RegExp(`json:"${field}[",]`), field);
});

test("longer work is asked for until it ends, and its failure is told", async () => {
  const job = (over) => ({ job: "j-1", kind: "import", state: "running", done: 1, of: 9, why: "", detail: "", result: null, ...over });
  const { box, asked } = fake([{ status: 202, body: job({}) }, { body: job({ state: "done", result: { new: 2, changed: 0, same: 1, refused: [] } }) }, { status: 202, body: job({}) }, { body: job({ state: "failed", why: "run_open", detail: "A run is open." }) }]);
  const order = { token: "u-1", encoding: "", delimiter: "", sheet: "", mapping: { name: 0 }, dry_run: false, by: "Oda" };
  assert.equal((await box.import(order)).new, 2);
  assert.equal(asked[1][1], "/api/v1/jobs/j-1");
  await assert.rejects(box.erase("p-1", "asked for", "Oda"), (e) => e.why === "run_open");
});

test("the day comes from the box's clock", async () => {
  const { box } = fake([{ body: { facepieces: [] }, date: "Mon, 14 Sep 2026 09:00:00 GMT" }]);
  await box.facepieces();
  assert.ok(Math.abs(box.now() - Date.parse("2026-09-14T09:00:00Z")) < 1000);
});

test("what a page does not know is an error, not a guess", async () => {
  const { box } = fake([{ body: { people: "many" } }, { body: { people: [{ name: "nobody" }] } }, { body: [] }]);
  await assert.rejects(box.people("", "", 1), /people is no list/);
  await assert.rejects(box.people("", "", 1), /has no id/);
  await assert.rejects(box.kit(), /not what this page knows/);
  assert.deepEqual(formOf(empty.person, readPerson({ id: "p-1", name: "A", languages: null })), { ...empty.person, name: "A" });
});

test("a row of the preview has the number that a refusal names", () => {
  const nobody = s.preview.rows.findIndex((r) => r[0] === "" && r[1] === "");
  assert.equal(st.rowNumber(nobody), s.trial.refused[0].row);
});

test("a plan's people are sure, likely, or at best", () => {
  const pips = st.planPips(s.plan);
  assert.equal(pips.length, 18);
  assert.deepEqual([pips.filter((p) => p === "given").length, pips.filter((p) => p === "half").length, pips.filter((p) => p === "open").length], [12, 3, 3]);
});

test("no sentence is a key", () => {
  for (const of of [words.refusals, words.dueWhys]) for (const [key, text] of Object.entries(of)) assert.doesNotMatch(text, /_/, key);
});
