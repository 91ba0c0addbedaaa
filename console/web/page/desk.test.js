// SPDX-License-Identifier: Apache-2.0

import assert from "node:assert/strict";
import { readFile } from "node:fs/promises";
import { test } from "node:test";
import "./lang/disk.mjs";
import { ApiError } from "./api.js";
import { desk, nameIn, readFigures, readRow, told } from "./desk.js";
import { t } from "./lang.js";
import * as s from "./samples-desk.js";
import { base64, blank, down, drawn, kept, mostPoints, mostStrokes, move, outlines, pathOf, up } from "./sign.js";
import { arriving, byDay, cardRefused, chosen, exercisesOf, labelNow, ofRecord, outcomeFirst, outcomeNow, recallOf, rowOf, signatureOf, signRefused, size, unnamed } from "./state-record.js";
import * as words from "./words-desk.js";
import * as office from "./words-office.js";
import { whys } from "./words.js";

const go = (path) => readFile(new URL(`../../${path}`, import.meta.url), "utf8");

test("the exercises of a record: done, cut short by the end, not begun", () => {
  const f = s.full();
  assert.deepEqual(exercisesOf(f).map((e) => e.course), Array(7).fill("done"));
  const fit = { ...f.record.fit, duration_s: 163.4, exercises: f.record.fit.exercises.slice(0, 3).map((e, i) => (i === 2 ? { ...e, end_s: 163.4 } : e)) };
  const cut = exercisesOf({ ...f, record: { ...f.record, fit } });
  assert.deepEqual(cut.map((e) => e.course), ["done", "done", "cut", "not_begun", "not_begun", "not_begun", "not_begun"]);
  assert.deepEqual([cut[2].start, cut[2].end, cut[3].start], [120, 163.4, null]);
});

test("who has no name was erased, was made up, or was on no list", () => {
  const said = ["p-7kq2m9xd", "drill", "hs-014"].map(unnamed);
  assert.deepEqual(said, [t("desk.records.erased"), t("desk.records.drilled"), t("desk.records.unlisted")]);
});

test("the limits of the rules are those of the rule sets", async () => {
  for (const [id, l] of Object.entries(words.limits)) {
    const r = JSON.parse(await go(`procedure/rules/${id}.json`));
    assert.equal(l.retest, r.retest_months?.value ?? 0, `${id} retest`);
    assert.equal(l.keep, r.keep_months?.value ?? 0, `${id} keep`);
    if (r.keep_months?.mark === "[M]") assert.match(words.limitWords(id).keep, /from memory/, "a figure from memory says so");
  }
});

test("what the box answers has words", async () => {
  const known = (why) => Boolean(words.refusals[why] ?? office.refusals[why] ?? whys[why]);
  const source = await go("api/problem.go");
  const keys = [...source.matchAll(/^\tWhy\w+\s+= "(\w+)"/gm)].map((m) => m[1]);
  assert.ok(keys.length > 10);
  // Those of a page that is not ours, or of a broken request, say what the box says.
  for (const why of keys) if (!["method", "origin", "content_type"].includes(why)) assert.ok(known(why), why);
  const check = await go("programme/check.go");
  const part = check.slice(check.indexOf("func (c *change) checkSignature"));
  const refused = [...part.matchAll(/refuse\("(\w+)"/g)].map((m) => m[1]);
  assert.ok(refused.length > 6);
  for (const file of ["retention", "sign"]) for (const m of (await go(`programme/${file}.go`)).matchAll(/refuse\("(\w+)"/g)) refused.push(m[1]);
  assert.ok(refused.includes("clock"));
  for (const why of refused) assert.ok(known(why), why);
});

test("labels that can be corrected and why there is no card are those of the box", async () => {
  const check = await go("programme/check.go");
  const list = /\[\]string\{([^}]+)\}, f\.Field\)/.exec(check);
  assert.deepEqual([...list[1].matchAll(/"(\w+)"/g)].map((m) => m[1]), Object.keys(words.labels));
  const card = await go("report/card.go");
  const errors = [...card.matchAll(/^\tErrCard(\w+)\s+=/gm)].map((m) => m[1].toLowerCase());
  assert.ok(errors.length > 6);
  for (const e of errors) assert.ok(words.noCard[e], `no card: ${e}`);
  const papers = await go("api/papers.go");
  const whys = [...papers.matchAll(/report\.ErrCard\w+, "(\w+)"\}/g)].map((m) => m[1]);
  assert.ok(whys.length > 5);
  for (const why of whys) assert.ok(words.refusals[why] ?? office.refusals[why], why);
});

test("a card is offered for a pass that stands, and nothing else", () => {
  const full = (over = {}, record = {}) => {
    const f = s.full(over);
    return { ...f, record: { ...f.record, ...record } };
  };
  assert.equal(cardRefused(full(), s.row({})), "");
  assert.equal(cardRefused(full({}, { proof: "tasted" }), s.row({})), "");
  assert.equal(cardRefused(full({}, { proof: "not_answered" }), s.row({})), "", "a remark, no doubt");
  for (const [want, f, run] of [
    ["practice", full({ practice: "simulated board" }), s.row({})], ["recalled", full(), s.row({ recalled: "mist_check_failed" })], ["outcome", full({}, { outcome: "fail", reason: "tasted" }), s.row({})],
    ["outcome", full({}, { outcome: "not_valid", reason: "hood_off" }), s.row({})], ["outcome", full({}, { outcome: "cannot_taste" }), s.row({})], ["proof", full({}, { proof: "not_tasted" }), s.row({})],
    ["date", full({ wall_quality: "restored" }), s.row({})], ["date", full({ wall_quality: "unset" }), s.row({})], ["date", full({ opened: "" }), s.row({})], ["erased", full({ wearer: "(erased)" }), s.row({})],
    ["failed", full(), s.row({ counts: "failed" })], ["later", full(), s.row({ counts: "later_test" })], ["rules", full(), s.row({ counts: "other_rules" })], ["trigger", full(), s.row({ counts: "trigger" })],
    ["name", full({ wearer: "" }), s.row({ name: "" })], ["facepiece", full(), s.row({ size: "" })], ["unknown", full(), null],
  ]) {
    assert.equal(cardRefused(f, run), want);
    assert.ok(words.noCard[want]);
  }
});

test("a recalled run is not valid, and its first outcome stays", () => {
  const recalled = s.row({ outcome: "not_valid", first: "pass", recalled: "mist_check_failed" });
  assert.equal(outcomeNow(s.full(), recalled), "not_valid");
  assert.equal(s.full().record.outcome, "pass");
  assert.equal(outcomeNow(s.full(), s.row({})), "pass");
  assert.equal(outcomeNow(s.failed(), null), "fail");
  // A record that comes without the job around it says the same by itself.
  const f = s.full();
  const why = { outcome: "pass", reason: "", why: "nebuliser found clogged", at: "2026-09-14T17:20:00+02:00", quality: "confirmed", by: "Agnes Thorley" };
  const alone = { ...f, record: { ...f.record, outcome: "not_valid", reason: "mist_check_failed", recalled: why } };
  assert.equal(outcomeNow(alone, null), "not_valid");
  assert.equal(outcomeFirst(alone, null), "pass");
  assert.equal(outcomeFirst(s.full(), recalled), "pass");
  assert.equal(recallOf(alone, null)?.why, why.why);
  assert.equal(recallOf(s.full(), recalled)?.why, "mist_check_failed");
  assert.equal(recallOf(s.full(), s.row({})), null);
  assert.equal(cardRefused(alone, s.row({})), "recalled");
  const line = rowOf({ run: "r000412", opened: "", wearer: "", facepiece: "", practice: "", outcome: "not_valid", reason: "mist_check_failed", recalled: why });
  assert.deepEqual([line.outcome, line.first, line.recalled], ["not_valid", "pass", why.why]);
});

test("the list is chosen by outcome and day; practice is no outcome", () => {
  const runs = (wanted, to) => chosen(s.rows, wanted, to).map((r) => r.run);
  assert.deepEqual(runs("pass"), ["r000412", "r000406"]);
  assert.deepEqual(runs("practice"), ["r000409"]);
  assert.deepEqual(runs("not_valid"), ["r000410", "r000408"]);
  assert.deepEqual(runs("recalled"), ["r000408"]);
  assert.equal(runs("all").length, s.rows.length);
  assert.deepEqual(runs("all", "2026-09-11"), ["r000408", "r000407", "r000406"]);
  assert.deepEqual(byDay(s.rows).map((d) => [d.day, d.rows.length]), [["2026-09-14", 4], ["2026-09-11", 3]]);
  assert.deepEqual(byDay([s.row({ at: "" })]).map((d) => d.day), [""]);
});

test("a line of the list without the job around it is a row", () => {
  const r = rowOf({ run: "r000009", opened: "2026-09-14T08:58:01+02:00", wearer: "Marit Quayle", facepiece: "Oxley Gill, medium", outcome: "pass", reason: "", practice: "simulated board" });
  assert.equal(r.practice, true);
  assert.equal(r.name, "Marit Quayle");
  assert.deepEqual(chosen([r], "pass"), []);
});

test("the box sorts out which runs, and tells which backups there are", async () => {
  const asked = [];
  const answers = [{ runs: [], next: "77" }, { runs: [s.row({})], next: "" }, { generations: [{ ...s.backups[0], here: true }, { file: "x" }], restores: [{ ...s.restores[0], head: "ab" }, {}] }];
  const api = desk(async (url) => {
    asked.push(url);
    return new Response(JSON.stringify(answers.shift()), { status: 200, headers: { "Content-Type": "application/json" } });
  });
  const first = await api.runs({ from: "2026-09-01", to: "", person: "p-7kq2m9xd", facepiece: "corrie-m", tester: "Oda Fennimore", outcome: "fail" }, "", 50);
  assert.deepEqual(first, { runs: [], next: "77" }, "an empty part may be followed by others");
  assert.equal((await api.runs({}, first.next, 50)).runs[0].run, "r000412");
  const { generations: backups, restores } = await api.backups();
  assert.deepEqual(restores[0], s.restores[0]);
  assert.deepEqual([restores[1].at, restores[1].by, restores[1].entries], ["", "", 0]);
  assert.deepEqual(backups[0], s.backups[0]);
  assert.deepEqual([backups[1].here, backups[1].where, backups[1].entries], [false, "", 0]);
  assert.deepEqual(asked, [
    "/api/v1/runs?from=2026-09-01&person=p-7kq2m9xd&facepiece=corrie-m&tester=Oda+Fennimore&outcome=fail&limit=50", "/api/v1/runs?before=77&limit=50", "/api/v1/backup",
  ]);
  const source = await go("api/runs.go");
  for (const key of ["to", "person", "facepiece", "tester", "outcome", "from", "before", "limit"]) assert.match(source, new RegExp(`query:"${key}"`), key);
  const parts = await go("api/parts.go");
  const generation = /Generation struct \{([^}]+)\}/.exec(parts)?.[1] ?? "";
  assert.deepEqual([...generation.matchAll(/json:"(\w+)"/g)].map((m) => m[1]).sort(), Object.keys(s.backups[0]).sort());
});

test("a row of the box is read, and one without an id is refused", () => {
  const r = readRow({ run: "r000001", make: "Oxley", model: "Gill", size: "M", outcome: "pass", signed: null, practice: false });
  assert.equal(r.facepiece, "Oxley Gill, M");
  assert.equal(r.first, "pass");
  assert.deepEqual(r.signed, []);
  assert.throws(() => readRow({ outcome: "pass" }), ApiError);
  assert.throws(() => readRow(null), ApiError);
});

test("labels show what stands now, and the signature that holds", () => {
  const two = [...s.amended.amended, { field: "tester", from: "Bram Okafor", to: "Agnes Thorley", reason: "again", by: "x" }];
  assert.equal(labelNow("Oda Fennimore", two, "tester"), "Agnes Thorley");
  assert.equal(labelNow("own", two, "whose"), "own");
  assert.equal(signatureOf(s.amended, "tester")?.holds, true);
  assert.equal(signatureOf(s.amended, "wearer")?.holds, false);
  assert.equal(signatureOf(s.row({}), "wearer"), null);
  const again = s.row({ signed: [{ who: "wearer", record: "1", strokes: "", holds: true }, { who: "wearer", record: "2", strokes: "", holds: false }] });
  assert.equal(signatureOf(again, "wearer")?.record, "1");
  assert.notEqual(signRefused(s.full({ practice: "simulated board" }), s.row({})), "");
  assert.equal(signRefused(s.full(), s.row({})), "");
});

test("on a narrow screen the lines of the strip hold every moment of the run", () => {
  const { frames } = ofRecord(s.full(), "narrow");
  assert.equal(ofRecord(s.full()).frames.length, 1);
  for (let ms = -24_000; ms <= 420_000; ms += 1000) assert.ok(frames.some((f) => f.fromMs <= ms && ms <= f.toMs), `${ms} ms`);
});

test("a signature is drawn, bounded, and more than a touch", () => {
  let d = blank();
  assert.deepEqual(move(d, 0.5, 0.5), d, "a pen that is not down draws nothing");
  d = down(d, 0.1, 0.5);
  assert.equal(drawn(d), false);
  d = move(d, 0.1005, 0.5);
  assert.equal(d.strokes[0].length, 1, "a trembling hand adds no points");
  d = move(d, 0.3, 0.5);
  d = up(d);
  assert.equal(drawn(d), true);
  assert.deepEqual(move(d, 0.9, 0.9), d);
  d = up(move(down(d, -1, 2), 3, 0.123456));
  assert.deepEqual(d.strokes[1], [[0, 1], [1, 0.123]]);
  assert.equal(pathOf([[0.5, 0.5]], 200), "M300 100h1");
  assert.equal(pathOf([[0, 0], [1, 1]], 200), "M0 0L600 200");
});

test("what is kept of a signature fits into what the box keeps", async () => {
  let d = down(blank(), 0.123, 0.001);
  for (let i = 0; i < 2 * mostPoints; i++) d = move(d, i % 2 ? 0.123 : 0.987, 0.001 + (i % 97) / 100);
  assert.equal(d.full, true);
  assert.equal(d.open, false);
  const source = await go("programme/sign.go");
  assert.match(source, /mostStrokes = 64 << 10/);
  const text = kept(d.strokes);
  assert.ok(text.length <= 64 << 10, `${text.length} bytes`);
  const most = Number(/Strokes string `json:"strokes" minLength:"4" maxLength:"(\d+)"/.exec(await go("api/runs.go"))?.[1]);
  assert.ok(base64(text).length <= most, `${base64(text).length} of ${most}`);
  assert.equal(down(d, 0.5, 0.5).strokes.length, d.strokes.length, "a full field takes no new stroke");
});

test("no more strokes than what prints them takes", async () => {
  const papers = await go("api/papers.go");
  const [, lines, points] = /mostLines\s+= (\d+)\s+mostPoints = ([\d_]+)/.exec(papers);
  assert.ok(mostStrokes <= Number(lines) && mostPoints <= Number(points.replaceAll("_", "")));
  let d = blank();
  for (let i = 0; i < 2 * mostStrokes; i++) d = up(down(d, 0.5, 0.5));
  assert.equal(d.strokes.length, mostStrokes);
});

test("letters become outlines: a ring has two, within the field, closed", () => {
  const ring = (x, y) => Math.hypot(x - 150, y - 50) <= 40 && Math.hypot(x - 150, y - 50) >= 20;
  const out = outlines(ring, 300, 100);
  assert.equal(out.length, 2);
  for (const l of out) {
    assert.deepEqual(l[0], l.at(-1));
    assert.ok(l.length > 8 && l.length < 80, `${l.length} points`);
    // Off by less than a step of the raster, 1, and the slack, 0.85, to either side.
    const r = l.map(([x, y]) => Math.hypot(x * 300 - 150, y * 100 - 50));
    assert.ok(Math.max(...r) - Math.min(...r) < 3.7, `${Math.min(...r)} to ${Math.max(...r)}`);
  }
  assert.deepEqual(outlines(() => false, 30, 10), []);
  const speckled = outlines((x, y) => x % 8 < 5 && y % 8 < 5, 450, 150);
  assert.ok(speckled.length <= mostStrokes && speckled.flat().length <= mostPoints);
  assert.equal(kept([[[0, 1]]]), "[[[0,1]]]");
  assert.equal(Buffer.from(base64("[[[0,1]]]"), "base64").toString("utf8"), "[[[0,1]]]");
});

/** A box that answers in turn, and what it was asked. */
function answering(...answers) {
  const asked = [];
  const send = async (url, init) => {
    asked.push({ url, ...init });
    const a = answers.shift();
    if (a instanceof Error) throw a;
    return a;
  };
  return { asked, api: desk(send, async () => {}) };
}
const json = (value, status = 200) => new Response(JSON.stringify(value), { status, headers: { "Content-Type": "application/json" } });

test("a job is asked for until it ends, and says how far it is", async () => {
  const { asked, api } = answering(json({ job: "j-1", state: "running", done: 0, of: 3 }, 202), json({ job: "j-1", state: "running", done: 2, of: 3 }), json({ job: "j-1", state: "done", result: { file: "/media/stick/a", bytes: 12, proven: true } }));
  const far = [];
  assert.deepEqual(await api.backupTo("/media/stick", "six plain words of your own", (d, of) => far.push([d, of])), { file: "/media/stick/a", bytes: 12, proven: true });
  assert.deepEqual(far, [[0, 3], [2, 3]]);
  assert.deepEqual(asked.map((a) => [a.method, a.url]), [["POST", "/api/v1/backup/folder"], ["GET", "/api/v1/jobs/j-1"], ["GET", "/api/v1/jobs/j-1"]]);
  const failing = answering(json({ job: "j-2", state: "running" }, 202), json({ job: "j-2", state: "failed", why: "looser", detail: "no" }));
  await assert.rejects(failing.api.setPolicy(s.policy, "x", () => {}), (e) => e instanceof ApiError && e.why === "looser" && e.message === "no");
});

test("a signature is sent once, bound to the record as shown", async () => {
  const { asked, api } = answering(json({ ok: true }));
  await api.sign("r000412", "wearer", "ab", "W10=", "typed", "Oda Fennimore");
  assert.equal(asked.length, 1);
  assert.equal(asked[0].url, "/api/v1/runs/r000412/sign");
  assert.deepEqual(JSON.parse(asked[0].body), { who: "wearer", how: "typed", strokes: "W10=", record: "ab", by: "Oda Fennimore" });
  const dead = answering(new TypeError("network"));
  await assert.rejects(dead.api.sign("r000412", "wearer", "ab", "W10=", "drawn", "x"), (e) => e.status === 0 && e.why === "no_answer");
  assert.equal(dead.asked.length, 1, "nothing is sent twice");
});

test("a refusal is a sentence of these pages, and another where it means another thing", async () => {
  const changed = () => json({ status: 409, why: "changed", detail: "the record has changed since it was shown; look at it again" }, 409);
  await assert.rejects(told(() => answering(changed()).api.sign("r1", "tester", "a", "b", "drawn", "c")), (e) => e.message === words.refusals.changed);
  await assert.rejects(told(() => answering(changed()).api.drop(["p-1"], "c", () => {}), { changed: words.refusals.retention_changed }), (e) => e.message === words.refusals.retention_changed);
  await assert.rejects(told(() => answering(json({ why: "malformed", detail: "no", errors: [{ message: "expected length >= 12", location: "body.passphrase" }] }, 422)).api.backupTo("x", "y", () => {})), (e) => /not taken: no; body\.passphrase: expected/.test(e.message));
  await assert.rejects(told(() => answering(json({ why: "looser", detail: "x" }, 409)).api.policy()), (e) => e.why === "looser", "a word of the office is left to it");
  await assert.rejects(told(() => answering(new Error("x")).api.policy()), (e) => e.status === 0);
});

test("a restore sends the passphrase, who restores and the file, as the box reads them", async () => {
  const { asked, api } = answering(json({ entries: 5, runs: 1, erased: 2, recalled: 3, later: "taken_over", restart: true }));
  assert.deepEqual(await api.restore("six plain words", "Agnes Thorley", new Blob(["x"])), { entries: 5, runs: 1, erased: 2, recalled: 3, later: "taken_over", restart: true });
  assert.deepEqual([...asked[0].body.keys()], ["passphrase", "by", "file"]);
  assert.equal(asked[0].body.get("by"), "Agnes Thorley");
  assert.equal(asked[0].headers["Content-Type"], undefined, "the browser writes the boundary");
});

test("a file has the box's name; one that breaks off is an error", async () => {
  assert.equal(nameIn(`attachment; filename="r000412 record.pdf"`), "r000412 record.pdf");
  assert.equal(nameIn(`attachment; filename="W_rzburg.csv"; filename*=UTF-8''W%C3%BCrzburg.csv`), "Würzburg.csv");
  assert.equal(nameIn(`attachment; filename="a.csv"; filename*=UTF-8''%E0%A4%A`), "a.csv");
  assert.equal(nameIn(""), "");
  const broken = new Response(new ReadableStream({ start: (c) => c.error(new Error("gone")) }));
  await assert.rejects(answering(broken).api.file("/runs.csv"), (e) => e instanceof ApiError && /broke off/.test(e.message));
  const f = await answering(new Response("a", { headers: { "Content-Disposition": `attachment; filename="runs.csv"` } })).api.file("/runs.csv");
  assert.equal(f.name, "runs.csv");
  assert.equal(await f.blob.text(), "a");
  // While it comes it is counted, in words where its whole length is not told.
  const parts = new ReadableStream({ start: (c) => { for (const n of [1500, 500]) c.enqueue(new Uint8Array(n)); c.close(); } });
  const o = { done: "" };
  /** @type {string[]} */
  const told = [];
  const counted = await answering(new Response(parts, { headers: { "Content-Type": "text/csv" } })).api.file("/runs.csv", null, arriving(o, () => told.push(o.done)));
  assert.deepEqual([counted.blob.size, counted.blob.type], [2000, "text/csv"]);
  assert.deepEqual(told, ["1.5 kB so far", "2.0 kB so far"]);
  arriving(o, () => told.push(o.done))(500, 2000);
  assert.equal(told.at(-1), "500 bytes of 2.0 kB");
});

test("figures are read as the box answers them", async () => {
  const f = readFigures(JSON.parse(await readFile(new URL("samples-insight.json", import.meta.url), "utf8")));
  assert.ok(f.counts.tests > 0);
  assert.deepEqual(f.charts.map((c) => c.id), ["models", "advice", "testers", "months", "repeats", "reasons"]);
  for (const c of f.charts) {
    assert.ok(c.title && c.say && c.columns.length > 0, c.id);
    for (const r of c.rows) assert.equal(r.length, c.columns.length, c.id);
  }
  assert.deepEqual(readFigures({}).charts, []);
  assert.throws(() => readFigures([]), ApiError);
});

test("the charts' colours turn with the page's", async () => {
  const source = await go("insight/chart/chart.go");
  const css = await readFile(new URL("desk.css", import.meta.url), "utf8");
  const rules = [...source.slice(source.indexOf("const CSS"), source.indexOf("// The colours")).matchAll(/(\.chart [.\w-]+\{(?:fill|stroke):var\([^)]+\)\})/g)].map((m) => m[1]);
  assert.ok(rules.length >= 10);
  for (const r of rules) assert.ok(css.includes(r), r);
});

test("why a run was recalled is said in the pages' words, whatever the journal's are", async () => {
  const block = /const \(\n\tClogged[^)]*\)/.exec(await go("programme/spoilt.go"))?.[0] ?? "";
  const written = [...block.matchAll(/= "([^"]+)"/g)].map((m) => m[1] ?? "");
  assert.ok(written.length >= 3, block);
  for (const why of [...written, "mist_check_failed"]) assert.match(words.recallWhy(why), /^[A-Z].*\.$/, why);
});

test("no sentence is a key, and sizes are readable", () => {
  for (const of of [words.refusals, words.noCard, words.signing, words.qualities, words.evidence, words.backups, { a: words.letters() }]) {
    for (const text of Object.values(of).flat()) assert.doesNotMatch(text, /_/, text);
  }
  assert.equal(size(999), "999 bytes");
  assert.equal(size(48_211_968), "48.2 MB");
  assert.equal(size(2_000_000_000), "2.0 GB");
});
