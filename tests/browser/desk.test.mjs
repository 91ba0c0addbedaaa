// SPDX-License-Identifier: Apache-2.0

// Records, a record, Insight and Settings: every state can be read by everybody,
// and each page does what it says and no more. The program serves the pages; the
// answers of its API stand here, refusals that a box gives seldom among them.

import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { after, before, test } from "node:test";
import { withBox } from "./box.mjs";
import { openPage, openStates, picture, sizes, startBrowser } from "./browser.mjs";
import * as t from "./tester.mjs";

const folder = new URL("../../console/web/page/", import.meta.url);
const s = await import(new URL("samples-desk.js", folder));
const figures = JSON.parse(readFileSync(new URL("samples-insight.json", folder), "utf8"));

let browser;
before(async () => { browser = await startBrowser(); });
after(() => browser?.close());

/**
 * A page for which the API's answers stand here. Done fails on anything that
 * was thrown, on requests elsewhere, and on paths that have no answer.
 * @param {Record<string, (body: string|null, url: URL) => [number, unknown]|[number, unknown, Record<string, string>]>} answers by method and path
 */
async function visit(box, path, answers, size = "desk") {
  const context = await browser.newContext({ viewport: sizes[size], reducedMotion: "reduce", acceptDownloads: true });
  const page = await context.newPage();
  page.setDefaultTimeout(30_000); // a bound, for a machine that is busy with much else
  const wrong = [];
  const asked = [];
  page.on("pageerror", (e) => wrong.push(e.stack ?? e.message));
  page.on("request", (r) => { if (new URL(r.url()).origin !== box.origin && !/^(data|blob):/.test(r.url())) wrong.push(`request to ${r.url()}`); });
  await page.route("**/api/v1/**", (route) => {
    const r = route.request();
    const url = new URL(r.url());
    const key = `${r.method()} ${url.pathname.replace("/api/v1", "")}`;
    asked.push({ key, body: r.postData(), query: url.search });
    const answer = answers[key];
    if (!answer) {
      wrong.push(`no answer for ${key}`);
      return route.fulfill({ status: 500, json: {} });
    }
    const [status, body, headers = {}] = answer(r.postData(), url);
    return typeof body === "string" ? route.fulfill({ status, body, headers }) : route.fulfill({ status, json: body, headers });
  });
  await page.goto(box.origin + path);
  return Object.assign(page, {
    asked,
    sent: (key) => asked.filter((a) => a.key === key).map((a) => JSON.parse(a.body ?? "null")),
    async done() {
      await context.close();
      assert.deepEqual(wrong, [], `on ${path}`);
    },
  });
}

const refused = (why, detail = "") => [409, { type: "about:blank", title: "Conflict", status: 409, why, detail }];
const row = (over = {}) => ({ ...s.row(over), facepiece: "corrie-m" });
const named = async (page) => {
  await page.getByLabel("Done by").fill("Oda Fennimore");
  await page.getByLabel("Done by").blur();
};

test("every state: nothing that sticks out, nothing too small for a finger", { timeout: 300_000 }, () => withBox(async (box) => {
  const { page, names } = await openStates(browser, box, "states-desk.html?only=settings", 41);
  const found = [];
  for (const [size, viewport] of Object.entries(sizes)) {
    await page.setViewportSize(viewport);
    for (const name of names) {
      const got = await page.evaluate((n) => {
        window.showState(n);
        const out = [];
        const across = document.scrollingElement.scrollWidth - innerWidth;
        if (across > 0) out.push(`scrolls across by ${across}`);
        for (const e of document.querySelectorAll("main :is(button, a, input, select, textarea, summary)")) {
          // A link within a sentence is as large as its words (WCAG 2.5.8).
          if (getComputedStyle(e).display === "inline") continue;
          const r = (/radio|checkbox/.test(e.type) ? e.nextElementSibling : e).getBoundingClientRect();
          if (r.width > 0 && (r.width < 43.5 || r.height < 43.5)) out.push(`${e.tagName} ${e.innerText || e.name} is ${Math.round(r.width)} x ${Math.round(r.height)}`);
        }
        return out;
      }, name);
      found.push(...got.map((g) => `${name} ${size}: ${g}`));
    }
  }
  assert.deepEqual(found, []);
  for (const name of ["records", "record", "record-recalled", "record-sign", "record-proof", "insight", "insight-names", "settings", "settings-first", "settings-may-go"]) {
    await page.evaluate((n) => window.showState(n), name);
    await picture(page, `desk-${name}`);
  }
  await page.done();
}));

test("a text that is no chart of ours is refused whole", () => withBox(async (box) => {
  // The browser says on its console what it would not run while parsing; that is as it should be.
  const page = await visit(box, "/page/states-desk.html", {});
  await page.getByRole("listitem").first().waitFor();
  const got = await page.evaluate(() => globalThis.hostile.map((text) => [globalThis.chartOf(text).node === null, globalThis.chartOf(text).why]));
  assert.ok(got.length > 8);
  for (const [none, why] of got) assert.ok(none && why, why);
  const sound = await page.evaluate((all) => all.map((text) => globalThis.chartOf(text).why), figures.charts.map((c) => c.svg).filter(Boolean));
  assert.deepEqual(sound, sound.map(() => ""));
  assert.match(await page.title(), /Every state/);
  await page.done();
}));

test("records are found by wearer, outcome and day, and taken along", () => withBox(async (box) => {
  const runs = s.rows.map((r) => ({ ...r, facepiece: "x" }));
  const page = await visit(box, "/records", {
    // The box sorts out; a part without any run may be followed by others.
    "GET /runs": (_, url) => {
      const asked = url.searchParams;
      const of = (all) => all.filter((r) => (!asked.get("person") || r.name === "Ilse Brandvold") && (!asked.get("outcome") || r.outcome === asked.get("outcome")) && (!asked.get("tester") || r.tester === asked.get("tester")));
      return [200, asked.get("before") ? { runs: of(runs.slice(4)), next: "" } : { runs: of(runs.slice(0, 4)), next: "91" }];
    },
    "GET /facepieces": () => [200, { facepieces: [{ id: "corrie-m", make: "Brindle", model: "Corrie", size: "medium" }] }],
    "GET /people": () => [200, { people: [{ id: "p-7kq2m9xd", name: "Ilse Brandvold", number: "H-0412", job: "stone saw" }], next: "" }],
    "GET /runs.csv": () => [200, "a;b\r\n", { "Content-Disposition": `attachment; filename="runs.csv"`, "Content-Type": "text/csv" }],
    "GET /runs.xlsx": () => refused("busy"),
  });
  await page.getByRole("row").filter({ hasText: "Tomasz Okonjo" }).waitFor();
  await page.getByText("4 records").waitFor();
  // Those that are asked for may lie further back: the page reads on by itself.
  await page.getByText("Recalled", { exact: true }).click();
  await page.getByRole("row").filter({ hasText: "Παπαδάκης" }).waitFor();
  const recalled = page.getByRole("row").filter({ hasText: "Παπαδάκης" });
  assert.match(await recalled.innerText(), /Pass[\s\S]*Not valid[\s\S]*recalled/);
  await page.getByText("All", { exact: true }).click();
  await page.getByText("7 records").waitFor();
  assert.match(await page.getByRole("row").filter({ hasText: "08:31" }).innerText(), /Pass\s+practice/);
  await page.getByText(/: 2 pass, 1 fail, 2 not valid, 1 cannot taste, 1 practice/).waitFor();

  await page.getByLabel(/^Find a wearer/).pressSequentially("bra");
  await page.getByRole("button", { name: /^Ilse Brandvold/ }).click();
  await page.getByText("Ilse Brandvold: ").waitFor();
  await t.until("one row", async () => (await page.getByRole("link", { name: /^\d\d:\d\d$/ }).count()) === 1);
  assert.match(page.asked.at(-1).query, /person=p-7kq2m9xd/);
  await page.getByRole("button", { name: /show everybody again/ }).click();
  await page.getByText("Cannot taste", { exact: true }).click();
  await page.getByRole("row").filter({ hasText: "Zdzisława" }).waitFor(); // the first part had none
  await page.getByLabel("Facepiece").selectOption({ label: "Brindle Corrie medium" });
  await page.getByLabel(/^Tester/).fill("Bram Okafor");
  await page.getByLabel(/^Tester/).blur();
  await page.getByText("No record is like that. Take one of the conditions above away to see more.").waitFor();
  assert.match(page.asked.at(-1).query, /facepiece=corrie-m&tester=Bram\+Okafor&outcome=cannot_taste&only=tests&before=91/);
  await page.getByLabel(/^Tester/).fill("");
  await page.getByLabel(/^Tester/).blur();
  await page.getByText("All", { exact: true }).click();

  const [download] = await Promise.all([page.waitForEvent("download"), page.getByRole("button", { name: /^CSV/ }).click()]);
  assert.equal(download.suggestedFilename(), "runs.csv");
  assert.equal(readFileSync(await download.path(), "utf8"), "a;b\r\n");
  await page.getByRole("button", { name: /^XLSX/ }).click();
  await page.getByRole("alert").getByText("Something of the kind is under way.").waitFor();
  await page.done();
}));

test("a record is signed as it was shown, by hand or by keyboard, and never another", () => withBox(async (box) => {
  let hash = "a1".repeat(32);
  let refuse = false;
  const signed = [];
  const amended = [];
  const page = await visit(box, "/records/r000412", {
    "GET /runs/r000412": () => [200, { run: row({ hash, signed, amended }), view: { ...s.full(), hash } }],
    "POST /runs/r000412/sign": (body) => {
      const { who, record } = JSON.parse(body);
      if (refuse) {
        hash = "b2".repeat(32);
        return refused("changed", "the record has changed since it was shown; look at it again");
      }
      signed.push({ who, record, strokes: "", holds: true });
      return [200, { ok: true }];
    },
    "POST /runs/r000412/amend": (body) => {
      const b = JSON.parse(body);
      amended.push({ field: b.field, from: "Oda Fennimore", to: b.to, reason: b.reason, by: b.by });
      return [200, { ok: true }];
    },
    "GET /evidence/r000412": () => [200, s.claim],
    "GET /evidence/r000412/code.svg": () => [200, decodeURIComponent(s.code.slice("data:image/svg+xml,".length)), { "Content-Type": "image/svg+xml" }],
    "GET /runs/r000412/card.pdf": () => refused("date_unknown"),
  });
  const sign = page.getByRole("button", { name: /^Sign with/ });
  await page.getByRole("button", { name: /^Sign as tester/ }).click();
  await page.getByText("Write your name under Done by first").waitFor();
  await named(page);

  await page.getByRole("button", { name: /^Sign as tester/ }).click();
  await sign.waitFor();
  assert.ok(await sign.isDisabled(), "nothing is drawn yet");
  const pad = await page.getByRole("img", { name: /^Field to draw in/ }).boundingBox();
  await page.mouse.move(pad.x + 40, pad.y + pad.height / 2);
  await page.mouse.down();
  for (let i = 1; i <= 20; i++) await page.mouse.move(pad.x + 40 + i * 12, pad.y + pad.height / 2 + 30 * Math.sin(i));
  await page.mouse.up();
  await page.mouse.move(pad.x + 10, pad.y + 10); // a pen that is up draws nothing
  await sign.click();
  await page.getByText("Signed by the tester.").waitFor();
  const [first] = page.sent("POST /runs/r000412/sign");
  assert.deepEqual([first.who, first.record, first.by], ["tester", "a1".repeat(32), "Oda Fennimore"]);
  const strokes = JSON.parse(Buffer.from(first.strokes, "base64").toString("utf8"));
  assert.equal(strokes.length, 1);
  assert.ok(strokes[0].length >= 15 && strokes[0].every(([x, y]) => x >= 0 && x <= 1 && y >= 0 && y <= 1));
  assert.ok(Math.abs(strokes[0][0][0] - 40 / pad.width) < 0.01 && Math.abs(strokes[0][0][1] - 0.5) < 0.01);

  // By keyboard alone.
  await page.getByRole("button", { name: /^Sign as wearer/ }).focus();
  await page.keyboard.press("Enter");
  await page.getByLabel(/^Or type the name/).focus();
  await page.keyboard.type("Γιώργος");
  await page.keyboard.press("Enter");
  await page.getByText("Signed by the wearer.").waitFor();
  const outlines = JSON.parse(Buffer.from(page.sent("POST /runs/r000412/sign")[1].strokes, "base64").toString("utf8"));
  assert.ok(outlines.length >= 7, `${outlines.length} outlines for seven letters`);
  for (const l of outlines) assert.deepEqual(l[0], l.at(-1), "an outline is closed");

  refuse = true;
  await page.getByRole("button", { name: /^Sign as wearer/ }).click();
  await page.getByLabel(/^Or type the name/).fill("Ilse");
  await sign.click();
  await page.getByRole("alert").getByText("The record has changed since it was shown, so nothing was signed.").waitFor();
  await page.getByText("b2".repeat(8)).first().waitFor();
  await page.keyboard.press("Escape");
  await sign.waitFor({ state: "detached" });

  await page.getByRole("button", { name: /^Correct a label/ }).click();
  await page.getByLabel("It should say").fill("Bram Okafor");
  await page.getByLabel(/^Why/).fill("the wrong name was picked");
  await page.getByRole("button", { name: "Correct it" }).click();
  await page.getByText("The first value stays visible.").first().waitFor();
  assert.match(await page.getByRole("row", { name: /^Tester Bram Okafor/ }).innerText(), /first:\s*Oda Fennimore/);
  assert.deepEqual(page.sent("POST /runs/r000412/amend"), [{ field: "tester", to: "Bram Okafor", reason: "the wrong name was picked", by: "Oda Fennimore" }]);

  await page.getByRole("button", { name: "Show the proof" }).click();
  assert.equal(await page.getByLabel("What the code says").inputValue(), s.claim.text);
  await page.getByRole("heading", { name: "It does not show" }).waitFor();
  await page.getByRole("button", { name: /^Wallet card, PDF/ }).click();
  await page.getByRole("alert").getByText("the box's clock could not be trusted").waitFor();
  await page.done();
}));

test("what cannot be is said: practice, an open run, a run that is not there, a recalled one", () => withBox(async (box) => {
  const show = (id, answer) => visit(box, `/records/${id}`, { [`GET /runs/${id}`]: () => answer });
  const practice = await show("r000409", [200, { run: row({ run: "r000409", practice: true }), view: { ...s.full({ run: "r000409", practice: "simulated board" }) } }]);
  await practice.getByText("Practice is not signed.").waitFor();
  await practice.getByText("It was practice, which is never a test record.").waitFor();
  assert.equal(await practice.getByRole("button", { name: /^Wallet card|^Sign/ }).count(), 0);
  await practice.done();
  const open = await show("r000500", [200, { run: null, view: { ...s.full(), record: null } }]);
  await open.getByText("This run is still open.").waitFor();
  await open.done();
  const missing = await show("r999999", [404, { why: "not_known", detail: "There is no such thing here." }]);
  await missing.getByRole("alert").getByText("not there").waitFor();
  await missing.done();
  const recalled = await show("r000408", [200, { run: row({ run: "r000408", outcome: "not_valid", first: "pass", recalled: "nebuliser found clogged", recall: { at: "2026-09-14T17:20:00+02:00", quality: "restored", by: "Agnes Thorley" }, amended: s.amended.amended, signed: s.amended.signed }), view: s.full({ run: "r000408", hood: { id: "h-2", mark: "H2", across_mm: 400, tall_mm: 450, oversized: true }, remarks: ["tried_before", "no_nebuliser_named"], try: 2 }) }]);
  await recalled.getByText("Recalled.").waitFor();
  await recalled.getByRole("row", { name: /^Remarks Try 2 with this facepiece.*No nebuliser was named/ }).waitFor();
  await recalled.getByText(/The nebuliser was found clogged.*Recalled by: Agnes Thorley\. When: .*17:20 \(the clock went on from the last switch-off/).waitFor();
  await recalled.getByText(/^a name that was typed, not drawn by hand, .*16:02$/).waitFor();
  await recalled.getByText(/^Agnes Thorley, .*08:05 \(the clock went on/).waitFor();
  await recalled.getByRole("row", { name: /^Hood H2, 400 mm wide, 450 mm tall.*thinner mist/ }).waitFor();
  assert.match(await recalled.getByRole("region", { name: "Outcome" }).innerText(), /Pass[\s\S]*Not valid/);
  await recalled.getByText("The run was recalled, and its pass does not stand.").waitFor();
  assert.equal(await recalled.getByRole("button", { name: /^Wallet card/ }).count(), 0);
  await recalled.done();
}));

test("figures have a drawing and a table each, and no name before it is asked for", () => withBox(async (box) => {
  const page = await visit(box, "/page/insight.html", {
    "GET /insight": (_, url) => [200, url.searchParams.get("from") ? { ...figures, counts: { tests: 0 }, charts: [] } : figures],
    "GET /insight/testers": () => [200, { testers: s.letters }],
  });
  await page.getByRole("heading", { name: "Passing by facepiece" }).waitFor();
  assert.equal(await page.locator(".figure svg.chart").count(), figures.charts.filter((c) => c.svg).length);
  for (const c of figures.charts) {
    const region = page.getByRole("region", { name: c.title, exact: true });
    await region.getByText(c.say).waitFor();
    for (const n of c.notes) await region.getByText(n, { exact: true }).waitFor();
    assert.equal(await region.locator("tbody tr").count(), c.table.rows.length, c.id);
  }
  const names = s.letters.map((l) => l.name);
  const text = () => page.getByRole("main").innerText();
  for (const n of names) assert.ok(!(await text()).includes(n), n);
  await page.getByRole("button", { name: /^Which letter is whom/ }).click();
  await page.getByText("never to rank or to punish").waitFor();
  for (const n of names) assert.ok(!(await text()).includes(n), n);
  assert.ok(!page.asked.some((a) => a.key === "GET /insight/testers"), "names are not asked for before");
  await page.getByRole("button", { name: /^Show the names/ }).click();
  for (const n of names) await page.getByText(n).first().waitFor();
  await page.getByText("Three months", { exact: true }).click();
  await page.getByText("No test in this time.").waitFor();
  for (const n of names) assert.ok(!(await text()).includes(n), `${n} after another time was chosen`);
  await page.done();
}));

test("the house: rules never looser, a backup proven, people past their time erased by number", () => withBox(async (box) => {
  let policy = s.policy;
  let jobs = 0;
  let may = { ...s.retention, people: s.retention.people.map((p) => ({ ...p, last_run: p.lastRun })) };
  const answers = {
    "GET /policy": () => [200, policy],
    "PUT /policy": (body) => {
      const p = JSON.parse(body).policy;
      if (p.keep_months === 24) return refused("looser", "UK guidance asks for records to be kept 60 months at least");
      policy = p;
      return [200, { ok: true }];
    },
    "GET /evidence/head": () => [200, s.head],
    "GET /backup": () => [200, { generations: jobs < 4 ? [] : s.backups }],
    "GET /runs": () => [200, { runs: [row()], next: "" }],
    "GET /people": () => [200, { people: [], next: "" }],
    "GET /retention": () => [200, may],
    "POST /retention": () => {
      may = { ...may, people: [], count: 0 };
      return [200, { ok: true }];
    },
    "POST /backup/folder": () => [202, { job: "j-1", kind: "backup", state: "running", done: 0, of: 3 }],
    "GET /jobs/j-1": () => (++jobs < 4 ? [200, { job: "j-1", state: "running", done: jobs, of: 3 }] : [200, { job: "j-1", state: "done", result: { file: "/media/stick/tallyhood-harrowgate-1-a.age", bytes: 48_211_968, proven: true } }]),
    "POST /backup": () => [200, "age", { "Content-Disposition": `attachment; filename="tallyhood 2026-09-14.backup"`, "Content-Type": "application/octet-stream" }],
  };
  const page = await visit(box, "/page/settings.html", answers);
  await page.getByText("60 at least.").waitFor();
  assert.equal(await page.getByRole("heading", { name: "This box is empty" }).count(), 0);
  await page.getByText("No backup was made yet. Make one below").waitFor();
  await named(page);
  const keep = page.getByRole("button", { name: /^Keep these rules/ });
  await page.getByLabel(/^Keep records for/).fill("24");
  await keep.click();
  await page.getByRole("alert").getByText("never for less: UK guidance asks for records to be kept 60 months at least.").waitFor();
  await page.getByLabel(/^Keep records for/).fill("72");
  await keep.click();
  await page.getByText("The rules of the house are kept.").waitFor();
  assert.equal(policy.keep_months, 72);
  await page.getByRole("button", { name: /^Put back/ }).click();
  await page.getByText("Put back: rules of the house.").waitFor();
  assert.deepEqual(policy, s.policy, "as the box had them before, not as was refused");

  const make = page.getByRole("button", { name: /^Make a backup/ });
  await page.getByLabel(/^Passphrase/).fill("six plain words of my own");
  await page.getByLabel("The same once more").fill("six plain words of our own");
  await make.click();
  await page.getByText("The two are not the same.").waitFor();
  assert.equal(page.asked.filter((a) => a.key.startsWith("POST /backup")).length, 0);
  await page.getByLabel("The same once more").fill("six plain words of my own");
  await page.getByText("To a folder of the box").click();
  await page.getByLabel(/^Folder/).fill("/media/stick");
  await make.click();
  await page.getByText(/proving it by a restore: \d of 3/).waitFor(); // progress, since it takes over a second
  await page.getByText("Proven, 48.2 MB.").waitFor();
  await page.getByText("tallyhood-harrowgate-1-a.age").waitFor();
  assert.equal(await page.getByLabel(/^Passphrase/).inputValue(), "", "a passphrase does not stay on the screen");
  await page.reload();
  await page.getByRole("row").filter({ hasText: "tallyhood-box-5f0c2a-a.age" }).getByText("the journal up to entry 51204").waitFor();
  await page.getByText("not there now").waitFor();

  await page.getByRole("button", { name: /^Look who may go/ }).click();
  const erase = page.getByRole("button", { name: /^Erase/ });
  await erase.waitFor();
  assert.ok(await erase.isDisabled());
  await page.getByLabel(/^Type 2 to erase/).fill("2");
  await erase.click();
  await page.getByText("Erased for good: 2 people.").waitFor();
  await page.getByText("Nobody may be erased today.").waitFor();
  assert.deepEqual(page.sent("POST /retention"), [{ shown: ["p-1", "p-2"], by: "Oda Fennimore" }]);
  await page.done();
}));

test("somebody is put on the day's list and taken off it, and each is undone by name", () => withBox(async (box) => {
  let listed = false;
  const page = await visit(box, "/day", {
    "GET /day": () => [200, {
      day: "2026-09-14", waiting: listed ? 1 : 0, more: false, next_free: "", end_of_day: [],
      expected: listed ? [{ person: "p-7kq2m9xd", name: "Ilse Brandvold", number: "", listed, place: 1, due: [], state: "waiting", stage: "", run: "", outcome: "", slot_at: "", stop_eating: "" }] : [],
    }],
    "GET /facepieces": () => [200, { facepieces: [] }],
    "GET /people": () => [200, { people: [{ id: "p-7kq2m9xd", name: "Ilse Brandvold", number: "H-0412" }], next: "" }],
    "POST /people/p-7kq2m9xd/listed": (body) => {
      listed = !JSON.parse(body).off;
      return [200, { ok: true }];
    },
  });
  const off = page.getByRole("button", { name: "Take off the list: Ilse Brandvold" });
  await page.getByText("Nobody is waiting.").waitFor();
  await named(page);
  await page.getByLabel(/^Put somebody on today's list/).pressSequentially("bra");
  await page.getByRole("button", { name: "Put on the list: Ilse Brandvold" }).click();
  await off.waitFor();
  await page.getByRole("button", { name: "Undo: take Ilse Brandvold off the list of 2026-09-14" }).click();
  await page.getByText("Undone: it is as it was before.").waitFor();
  await off.waitFor({ state: "detached" });
  listed = true;
  await page.reload();
  await off.click();
  await page.getByText("Ilse Brandvold is off the list of 2026-09-14.").waitFor();
  await page.getByRole("button", { name: "Undo: put Ilse Brandvold back on the list of 2026-09-14" }).click();
  await off.waitFor();
  assert.deepEqual(page.sent("POST /people/p-7kq2m9xd/listed").map((b) => [b.day, b.place, b.off, b.by]), [
    ["2026-09-14", 0, false, "Oda Fennimore"], ["2026-09-14", 0, true, "Oda Fennimore"], ["2026-09-14", 1, true, "Oda Fennimore"], ["2026-09-14", 1, false, "Oda Fennimore"],
  ]);
  await page.done();
}));

test("an empty box takes a backup in, and says what comes next", () => withBox(async (box) => {
  let wrong = true;
  const page = await visit(box, "/page/settings.html", {
    "GET /policy": () => [200, { rules: "", retest_months: 0, keep_months: 0, site: "", hoods: 0 }],
    "GET /backup": () => [200, { generations: [] }],
    "GET /runs": () => [200, { runs: [], next: "" }],
    "GET /people": () => [200, { people: [], next: "" }],
    "POST /restore": () => (wrong ? refused("locked", "this does not open the backup: look at capitals, spaces and the keyboard's language; or it is the passphrase of another backup") : [200, { entries: 51_204, runs: 812, erased: 2, restart: true }]),
  });
  await page.getByRole("heading", { name: "This box is empty" }).waitFor();
  await named(page);
  const form = page.getByRole("form", { name: "Bring a backup in" });
  await form.getByLabel(/^Backup/).setInputFiles({ name: "tallyhood-a.age", mimeType: "application/octet-stream", buffer: Buffer.from("age-encryption.org/v1\n") });
  await form.getByLabel("Its passphrase").fill("Six plain words");
  await form.getByRole("button", { name: /^Bring it in/ }).click();
  await page.getByRole("alert").getByText("look at capitals, spaces").waitFor();
  wrong = false;
  await form.getByLabel("Its passphrase").fill("six plain words");
  await form.getByRole("button", { name: /^Bring it in/ }).click();
  await page.getByText("812 runs and all that stands around them are on this box.").waitFor();
  await page.getByText("Start the box again now.").waitFor();
  await page.getByText("2 people who had been erased after this backup are erased again.").waitFor();
  const body = page.asked.filter((a) => a.key === "POST /restore").at(-1).body;
  const places = ["passphrase", "by", "file"].map((part) => body.indexOf(`name="${part}"`));
  assert.ok(places.every((at, i) => at > (places[i - 1] ?? -1)), `the box reads passphrase, who restores and the file in this order: ${places}`);
  await page.done();
}));

test("the program itself: an empty box, its rules kept, its key shown, its files taken along", () => withBox(async (box) => {
  const records = await openPage(browser, box, "/records");
  await records.getByText("No record yet.").waitFor();
  const [file] = await Promise.all([records.waitForEvent("download"), records.getByRole("button", { name: /^CSV/ }).click()]);
  assert.match(readFileSync(await file.path(), "utf8"), /\w/, "the file has its titles");
  await records.done();
  const insight = await openPage(browser, box, "/insight");
  await insight.getByText("No test in this time.").waitFor();
  await insight.done();

  const settings = await openPage(browser, box, "/settings");
  await named(settings);
  await settings.getByText(/^US rule/).first().click();
  await settings.getByLabel(/^Test again after/).fill("6");
  await settings.getByLabel(/^Employer and place/).fill("Harrowgate Stoneworks, the yard");
  await settings.getByRole("button", { name: /^Keep these rules/ }).click();
  await settings.getByText("The rules of the house are kept.").waitFor();
  await settings.reload();
  await t.until("the rules to stand", async () => (await settings.getByLabel(/^Test again after/).inputValue()) === "6");
  assert.ok(await settings.getByRole("radio", { name: /^US rule/ }).isChecked());
  await settings.done();
}));
