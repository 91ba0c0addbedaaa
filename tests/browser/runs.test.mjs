// SPDX-License-Identifier: Apache-2.0

// Every outcome, from the first screen to the record.

import assert from "node:assert/strict";
import { after, before, test } from "node:test";
import { withBox } from "./box.mjs";
import { openPage, startBrowser } from "./browser.mjs";
import * as t from "./tester.mjs";

let browser;
before(async () => { browser = await startBrowser(); });
after(() => browser?.close());

/**
 * A test with a box and a Bench of its own.
 * @param {string} name
 * @param {(page: any, box: any, eyes: any) => Promise<void>} body
 */
function alone(name, body) {
  test(name, { timeout: 300_000 }, () => withBox(async (box) => {
    const eyes = await t.openEyes(browser, box);
    const page = await openPage(browser, box, "/bench");
    try {
      await body(page, box, eyes);
    } finally {
      await eyes.close();
      await page.done();
    }
  }, { speed: 20 }));
}

/**
 * The same for an outcome that the day of day.test.mjs has too, through the same pages.
 * @param {string} name
 * @param {(page: any, box: any, eyes: any) => Promise<void>} body
 */
function inTheDay(name, body) {
  if (process.env.TALLYHOOD_RUNS) alone(name, body);
  else test(name, { skip: "only when asked: the day has one like it (TALLYHOOD_RUNS=all)" }, () => {});
}

/** The only record, as the list and the record's own page show it. */
async function inRecords(box, word, reason) {
  const page = await openPage(browser, box, "/records");
  const row = page.getByRole("row").filter({ has: page.getByRole("link") }).first();
  await row.waitFor();
  assert.match(await row.innerText(), word);
  await row.getByRole("link").first().click(); // the other leads to its review
  await page.waitForURL(/\/records\/r\d+/);
  const outcome = page.getByRole("region", { name: "Outcome" });
  await outcome.waitFor();
  assert.match(await outcome.innerText(), word);
  if (reason) assert.match(await outcome.innerText(), reason);
  assert.match(await page.getByRole("main").innerText(), /practice/i, "a record of a simulated board says so");
  await page.done();
}

inTheDay("nothing tasted and every dose given is a pass", async (page, box, eyes) => {
  await t.toClock(page, box, eyes);
  await t.keepGiving(box, eyes);
  const region = await t.verdict(page, /Pass/);
  assert.doesNotMatch(await region.innerText(), /Fail|Not valid/);
  const run = await eyes.run();
  assert.ok(run.top_ups.every((d) => d.given >= d.required), "every top-up is complete");
  assert.equal(run.run_ms, 420_000, "seven minutes");

  await page.getByRole("button", { name: /^Begin the proof/ }).click();
  await page.getByRole("button", { name: /^Tasted it/ }).click();
  await page.getByText("The mist was there.").waitFor();
  await inRecords(box, /Pass/);
  await t.nextRun(page);
});

inTheDay("a taste in an exercise is a fail", async (page, box, eyes) => {
  await t.toClock(page, box, eyes);
  const giving = t.keepGiving(box, eyes);
  await eyes.see("the second exercise", (r) => r.exercise === 1);
  await box.report();
  await giving;
  const region = await t.verdict(page, /Fail/, /tasted it during the test/);
  assert.doesNotMatch(await region.innerText(), /Pass|Not valid/);
  assert.match(await region.innerText(), /another facepiece/);
  await inRecords(box, /Fail/);
  await t.nextRun(page);
});

alone("a top-up not given is not valid", async (page, box, eyes) => {
  await t.toClock(page, box, eyes);
  await t.verdict(page, /Not valid/, /top-up was not given in full/);
  assert.equal((await eyes.run()).run_ms, 55_000, "when the first top-up's window shuts");
  await inRecords(box, /Not valid/);
  await t.nextRun(page);
});

inTheDay("the button's cable out is not valid at once", async (page, box, eyes) => {
  await t.toClock(page, box, eyes);
  box.set("taste_nc 0");
  await t.verdict(page, /Not valid/, /cable of the wearer's button/i);
  await page.getByText("button cable open").first().waitFor();
  await inRecords(box, /Not valid/);
  box.set("taste_nc 1");
  await t.nextRun(page);
});

inTheDay("thirty squeezes without a taste cannot be tested", async (page, box, eyes) => {
  await t.toScreening(page, eyes);
  await t.squeezeTo(box, eyes, 30, t.screened);
  const region = await t.verdict(page, /Cannot taste/, /thirty squeezes/);
  assert.match(await region.innerText(), /other agent|quantitative/);
  await inRecords(box, /Cannot taste/);
  await t.nextRun(page);
});

alone("a corrected count has a reason, and a taste said aloud is a fail", async (page, box, eyes) => {
  await t.toScreening(page, eyes, { ...t.usual, person: "Rhodri Vance", agent: "sweet" });
  await t.squeezeTo(box, eyes, 4, t.screened);

  const correct = async (reason, to) => {
    await page.getByRole("button", { name: /^Wrong count/ }).click();
    await page.getByRole("button", { name: reason }).click();
    await eyes.see(`a count of ${to}`, (r) => r.screening.squeezes === to);
    await page.getByText(`Sensitivity test, ${to} of 30`).waitFor();
  };
  await correct("Squeezed, but not counted", 5);
  await correct("Bumped, not squeezed", 4);

  await t.toDonning(page, box, eyes, 6);
  await t.toDosing(page, eyes);
  await t.toRunning(box, eyes);
  await page.getByRole("button", { name: /^Said it aloud/ }).click();
  await t.verdict(page, /Fail/, /tasted it during the test/);

  const answer = await page.request.get(`${box.origin}/api/records/${(await eyes.run()).run}`);
  const { record } = await answer.json();
  assert.equal(record.outcome, "fail");
  await t.nextRun(page);
});
