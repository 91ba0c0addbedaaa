// SPDX-License-Identifier: Apache-2.0

// A day at a yard: six people, one hood, two agents, and a queue that keeps it
// busy by letting runs wait while a facepiece is worn. Everything is done by
// what a tester presses; at the end the pages and the journal have to agree.
// The board is a simulated one, so all of it stays practice, and the Day says
// to the end that these people are still due.

import assert from "node:assert/strict";
import { execFileSync } from "node:child_process";
import { after, before, test } from "node:test";
import { program, withBox } from "./box.mjs";
import { openPage, startBrowser } from "./browser.mjs";
import * as t from "./tester.mjs";

let browser;
before(async () => { browser = await startBrowser(); });
after(() => browser?.close());

const people = [
  ["Ilse Brandvold", "HS-014", "en"], ["Tomasz Zieliński", "HS-021", "pl"], ["Maren Okonjo", "HS-007", "en"],
  ["Despina Λάμπρου", "HS-033", "en"], ["Rhodri Vance", "HS-040", "en"], ["Pilar Echevarne", "HS-052", "es"],
];
const [ilse, tomasz, maren, despina, rhodri, pilar] = people.map(([name]) => name);
const medium = "Fellside Corrie, medium (half mask with two P3 filters)";
const small = "Fellside Corrie, small (half mask with two P3 filters)";

/** Names who does it, on a page of the office. */
async function sayWho(page) {
  await page.getByLabel("Done by").fill("Oda Fennimore");
  await page.getByLabel("Done by").press("Tab");
}

/** The facepieces by hand, and the people as a list from a spreadsheet. */
async function furnish(box) {
  const faces = await openPage(browser, box, "/facepieces");
  await sayWho(faces);
  for (const size of ["medium", "small"]) {
    await faces.getByRole("button", { name: /^Enter (a|the first) facepiece/ }).click();
    await faces.getByLabel(/^Make/).fill("Fellside");
    await faces.getByLabel("Model", { exact: true }).fill("Corrie");
    await faces.getByLabel("Size", { exact: true }).fill(size);
    await faces.getByLabel(/^Style/).fill("half mask with two P3 filters");
    await faces.getByRole("radio", { name: "half mask" }).check();
    await faces.getByLabel(/^Fit factor/).fill("100");
    await faces.getByRole("button", { name: "Enter this facepiece" }).click();
    await faces.getByRole("heading", { name: `Fellside Corrie ${size}` }).waitFor();
  }
  await faces.done();

  const list = await openPage(browser, box, "/people/import");
  await sayWho(list);
  const csv = ["Name;Company number;Job;Languages;Facepieces", ...people.map(([name, number, language]) => `${name};${number};stonemason;${language};Fellside Corrie medium`)].join("\n");
  await list.getByLabel(/^File/).setInputFiles({ name: "yard.csv", mimeType: "text/csv", buffer: Buffer.from(csv) });
  await list.getByRole("button", { name: /^Try it/ }).click();
  await list.getByText(/^It would bring 6 new/).waitFor();
  await list.getByRole("button", { name: /^Take in 6/ }).click();
  await list.getByText(/^Taken in: 6 new people/).waitFor();
  await list.done();
}

/** Both agents, each with a nebuliser for the weak solution and one for the strong: filled, and seen to give mist. */
const marks = { sweet: { weak: "S-weak", strong: "S-strong" }, bitter: { weak: "B-weak", strong: "B-strong" } };
async function fillKit(box) {
  const inputs = await openPage(browser, box, "/inputs");
  await t.takeOver(inputs); // how old a filling is counts, so the clock is confirmed first
  const clock = inputs.getByRole("region", { name: "Clock" });
  await clock.getByRole("button", { name: /^It is right/ }).click();
  await clock.getByText("Confirmed by a person").waitFor();
  await inputs.done();

  const kit = await openPage(browser, box, "/kit");
  await sayWho(kit);
  for (const [agent, of] of Object.entries(marks)) {
    for (const [role, mark] of Object.entries(of)) {
      await kit.getByRole("button", { name: /^Enter a batch/ }).click();
      await kit.getByRole("radio", { name: agent }).check();
      await kit.getByRole("radio", { name: role }).check();
      await kit.getByLabel("Lot").fill(`L-${mark}`);
      await kit.getByLabel(/^Good until/).fill("2099-01-01");
      await kit.getByLabel("Recipe", { exact: false }).first().fill("as on the bottle");
      await kit.getByLabel("Source of the recipe").fill("the label");
      await kit.getByRole("button", { name: "Enter it" }).click();
      await kit.getByText(`${agent}, lot L-${mark}`).waitFor();
      await kit.getByRole("button", { name: /^Enter a nebuliser/ }).click();
      await kit.getByLabel(/^Mark/).fill(mark);
      await kit.getByRole("radio", { name: new RegExp(`^${role}`) }).check();
      await kit.getByRole("radio", { name: agent }).check();
      await kit.getByRole("button", { name: "Enter it" }).click();
      await kit.getByRole("listitem", { name: mark }).getByRole("button", { name: `Fill ${mark}` }).click();
      await kit.getByRole("radio", { name: new RegExp(`L-${mark}`) }).check();
      await kit.getByRole("button", { name: /^Filled just now/ }).click();
      await kit.getByRole("button", { name: /^Mist came/ }).click();
      await kit.getByRole("listitem", { name: mark }).getByText(/^3:59$|^4:00$/).waitFor();
    }
  }
  await kit.done();
}

/**
 * Squeezes of the bulb from an instant on, in the board's own time: the hands
 * are told beforehand, so they are in time however busy the machine is.
 * @param {number} at ms after the mark; 0: from now
 */
function squeezes(at, n) {
  const one = ["squeeze 1", "wait 300", "squeeze 0", "wait 800"];
  return [...(at > 0 ? [`at ${at}`] : []), ...Array(n).fill(one).flat().slice(0, -1)];
}

/**
 * The top-ups of a whole run in bin 10, half of ten every thirty seconds while
 * any exercise goes on: 29 CFR 1910.134, Appendix A, Part I.B.3(b), B.4(b).
 */
const topUps = (first = 5) => Array.from({ length: 13 }, (_, i) => squeezes(30_000 * (i + 1) + 1000, i === 0 ? first : 5)).flat();

/** One run after another at one Bench. */
function bench(page, box, eyes) {
  const waiting = page.getByRole("region", { name: "Waiting runs" });
  const numbered = (person) => `${person} ${people.find(([name]) => name === person)[1]}`;
  const who = (person, over = {}) => ({ ...t.usual, person: numbered(person), facepiece: medium, agent: "bitter", ...over });
  const agents = new Map(); // by person, of the run that is under way
  /** Reads the mark off a nebuliser and names it. */
  async function take(person, role) {
    const mark = marks[agents.get(person)][role];
    await page.getByLabel(new RegExp(`^Mark on the ${role}`)).fill(mark);
    await page.getByRole("button", { name: "Use it" }).click();
    await page.getByLabel(new RegExp(`: ${mark}, lot `)).waitFor();
  }
  async function screening(person, over, wearer, wrong = "") {
    const of = who(person, over);
    agents.set(person, of.agent);
    await t.openRun(page, of);
    if (wearer) {
      await t.pair(wearer, page);
      await wearer.getByRole("button", { name: "Yes" }).click();
      await wearer.getByRole("heading", { name: "Before we start" }).waitFor();
    }
    if (wrong) {
      await page.getByLabel(/^Mark on the weak/).fill(wrong);
      await page.getByRole("button", { name: "Use it" }).click();
      await page.getByText("This nebuliser holds the other agent.").waitFor();
    }
    await take(person, "weak");
    await t.answerAll(page);
    await t.goOn(page);
    await eyes.see("the sensitivity test", (r) => r.stage === "screening");
  }
  return {
    waiting,
    screening,
    take,
    /** To the facepiece put on, where the run waits and the hood is free. */
    async wearing(person, over, wearer, wrong) {
      await screening(person, over, wearer, wrong);
      await t.toDonning(page, box, eyes);
      await page.getByRole("button", { name: /^Park (?!this)/ }).click();
      await waiting.getByRole("button", { name: person }).waitFor();
      await page.getByRole("button", { name: "Open the run" }).waitFor();
    },
    /** From there through the initial dose, with all that the hands do after it. */
    async clock(person, after, unproven = false) {
      await waiting.getByRole("button", { name: person }).click();
      await page.locator("header b", { hasText: person }).waitFor();
      await take(person, "strong");
      if (unproven) {
        await page.getByText(/not proven/).first().waitFor();
        await box.report();
      }
      await t.toDosing(page, eyes);
      const { initial } = await eyes.run();
      box.set(...squeezes(0, initial.required), "mark 0", ...after);
      await eyes.see("the run clock", (r) => r.stage === "running");
    },
    /** With a proof that is begun and left, by its key; none: without one. */
    async passes(leaveBy = "") {
      await t.verdict(page, /Pass/, undefined, 90_000);
      if (leaveBy) {
        await page.keyboard.press("p");
        await page.getByRole("button", { name: /^Leave it: no proof/ }).waitFor();
        await page.getByRole("button", { name: /^Stop now/ }).waitFor();
        await page.keyboard.press(leaveBy);
        await page.getByText(leaveBy === "s" ? /Proof: not made. It was stopped for the person/ : /Proof: not made. It was left/).waitFor();
        await t.verdict(page, /Pass/);
      }
      await t.nextRun(page);
    },
  };
}

/** The outcomes in the list of records: whoever was begun last stands first. */
async function outcomes(records) {
  const rows = records.getByRole("row").filter({ has: records.getByRole("link", { name: /^Review of the run/ }) });
  return (await rows.allInnerTexts()).map((text) => text.match(/Pass|Fail|Not valid|Cannot taste/)?.[0] ?? text);
}

test("six people in a day: each gets what is theirs, and nothing of it is lost", { timeout: 600_000 }, () => withBox(async (box) => {
  for (const left of browser.contexts()) await left.close(); // of a day that was begun before
  await furnish(box);
  await fillKit(box);
  const eyes = await t.openEyes(browser, box);
  const page = await openPage(browser, box, "/bench");
  const wearer = await openPage(browser, box, "/wearer");
  const gallery = await openPage(browser, box, "/gallery");
  const day = await openPage(browser, box, "/day");
  const at = bench(page, box, eyes);
  await day.getByRole("region", { name: "Expected" }).getByRole("listitem").nth(5).waitFor();

  // The first one answers on the Wearer's page. While three wear their
  // facepieces the hood is never empty.
  await at.wearing(ilse, {}, wearer);
  await wearer.getByRole("heading", { name: /Keep your facepiece on/ }).waitFor();
  await at.wearing(tomasz, { tester: "Bram Okafor" });
  await at.wearing(despina);
  assert.equal(await at.waiting.getByRole("button").count(), 3);
  await gallery.getByRole("list", { name: "Runs that wait" }).getByRole("listitem").nth(2).waitFor();
  await day.reload();
  const under = day.getByRole("region", { name: "Under way" });
  for (const name of [ilse, tomasz, despina]) await under.getByText(name, { exact: true }).waitFor();

  await at.clock(ilse, topUps());
  await wearer.getByRole("heading", { name: "Breathe normally" }).waitFor();
  await at.passes("s");

  // One cannot taste the sweet agent. The sweet nebuliser is nothing for the
  // bitter test that follows: the box refuses it, and takes the one of that agent.
  await at.screening(maren, { agent: "sweet" });
  await t.squeezeTo(box, eyes, 30, t.screened);
  await t.verdict(page, /Cannot taste/, /thirty squeezes/);
  await t.nextRun(page);
  await at.wearing(maren, { agent: "bitter" }, undefined, marks.sweet.weak);

  // A trainee squeezes once too often. The Gallery says so, and whom it shows it does not say.
  await at.clock(tomasz, topUps(6));
  await gallery.getByText("Top-up 1: more squeezes than asked, harmless.").waitFor();
  assert.doesNotMatch(await gallery.getByRole("main").innerText(), /Zieliński|Bram|HS-/);
  await at.passes("Escape");

  await at.clock(maren, topUps());
  await at.passes();

  // One facepiece leaks; with the next size it is another test from the start.
  await at.clock(despina, [...squeezes(31_000, 5), "at 66000", "taste_nc 0", "taste_no 1", "wait 500", "taste_no 0", "taste_nc 1"]);
  const failed = (await eyes.run()).run;
  await t.verdict(page, /Fail/, /tasted it during the test/);
  await t.nextRun(page);
  await at.wearing(despina, { facepiece: small });
  await at.wearing(rhodri, { agent: "sweet" });
  await at.wearing(pilar);

  await at.clock(rhodri, ["at 20000", "taste_no 0", "taste_nc 0"]); // the plug is out: both lines are open
  await t.verdict(page, /Not valid/, /cable of the wearer's button/i);
  box.set("taste_nc 1");
  await t.nextRun(page);

  // Whoever waited meanwhile shows first that the button works again.
  await at.clock(despina, topUps(), true);
  await at.passes();
  await at.clock(pilar, topUps(), true);
  await at.passes();
  assert.equal(await at.waiting.count(), 0, "nobody waits any more");

  // Practice counts for nobody: the Day expects all six as in the morning.
  await day.reload();
  await day.getByRole("region", { name: "Expected" }).getByRole("listitem").nth(5).waitFor();
  assert.equal(await day.getByRole("region", { name: "Expected" }).getByRole("listitem").count(), 6);
  await under.getByText("Nobody is being tested.").waitFor();
  assert.equal(await day.getByRole("region", { name: "Done" }).count(), 0);

  const records = await openPage(browser, box, "/records");
  await t.until("eight records", async () => (await outcomes(records)).length >= 8);
  assert.deepEqual(await outcomes(records), ["Pass", "Not valid", "Pass", "Pass", "Cannot taste", "Fail", "Pass", "Pass"]);
  await records.getByRole("link", { name: `Review of the run ${failed}` }).click();
  await records.getByRole("button", { name: /^Play/ }).click();
  await records.getByRole("button", { name: /^Pause/ }).waitFor();
  await t.until("the review plays", async () => !(await records.locator(".player .at").innerText()).startsWith("0:00"));
  await records.getByRole("button", { name: /Verdict: Fail/ }).click();
  await records.getByText("The wearer tasted it during the test.").first().waitFor();

  for (const p of [page, wearer, gallery, day, records]) await p.done();
  await eyes.close();

  // The plug is pulled at the end of the day: what was promised is on the disk.
  await box.kill();
  assert.match(execFileSync(program, ["records", "verify", "--store", box.store], { encoding: "utf8" }), /entries of 8 runs \(0 open\) are whole and chained/);
}, { speed: 45, again: 2 }));
