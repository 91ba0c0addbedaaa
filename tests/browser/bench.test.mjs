// SPDX-License-Identifier: Apache-2.0

// What the Bench does beside one run: a wrong name, runs that wait, the view
// from across the room, its keys; and the way of a newcomer to it.

import assert from "node:assert/strict";
import { after, before, test } from "node:test";
import { withBox } from "./box.mjs";
import { accessible, fits, openPage, sizes, startBrowser } from "./browser.mjs";
import * as t from "./tester.mjs";

let browser;
before(async () => { browser = await startBrowser(); });
after(() => browser?.close());

const other = { ...t.usual, person: "Rhodri Vance" };
const onScreen = (page, name) => page.locator("header b", { hasText: name }).waitFor();

test("two people share the Bench: a wrong name is loud, a run waits and is taken up by a key", { timeout: 300_000 }, () => withBox(async (box) => {
  const page = await openPage(browser, box, "/bench");
  await t.openRun(page);
  await page.getByRole("button", { name: "Said no" }).click();
  await page.getByRole("alert").filter({ hasText: `Not ${t.usual.person}` }).waitFor();
  await t.answerAll(page);
  assert.equal(await page.getByRole("button", { name: /^Go on/ }).isDisabled(), true, "nobody goes on with the wrong person");
  await page.getByRole("button", { name: `It is ${t.usual.person}` }).click();
  await page.getByText("The wearer said yes.").waitFor();

  await page.keyboard.press("k");
  const waiting = page.getByRole("region", { name: "Waiting runs" });
  await waiting.getByRole("button", { name: /Ilse Brandvold/ }).waitFor();
  await t.openRun(page, other);
  await onScreen(page, other.person);
  await page.keyboard.press("1"); // sets the one on the screen aside and takes up the other
  await onScreen(page, t.usual.person);
  await waiting.getByRole("button", { name: /Rhodri Vance/ }).waitFor();

  await page.keyboard.press("d");
  const far = page.getByRole("main", { name: "Distance view" });
  await far.waitFor();
  for (const size of Object.values(sizes)) {
    await page.setViewportSize(size);
    await fits(page, `the distance view at ${size.width} x ${size.height}`);
    const share = await far.getByRole("region").locator("p").first().evaluate((p) => parseFloat(getComputedStyle(p).fontSize) / innerHeight);
    // Console practice, no published source: digits of at least 8 % of the screen's height can be read across a room.
    assert.ok(share >= 0.08 || size.width < 500, `the number is ${Math.round(share * 100)} % of ${size.height} px`);
  }
  await page.setViewportSize(sizes.desk);
  await accessible(page, "the distance view");

  // What looked for faults kept the page busy: it may have lost the box for a moment.
  await t.until("the page to be awake", async () => {
    await page.keyboard.press("Shift");
    return (await page.getByText(/^(No word from the box|Back again)\./).count()) === 0;
  });
  await page.keyboard.press("?");
  await page.getByRole("complementary", { name: "Keys" }).waitFor();
  await t.until("the keyboard to be in the list of keys", () => page.evaluate(() => document.activeElement?.className === "keys"));
  await page.keyboard.press("Escape");
  await page.keyboard.press("s");
  await t.verdict(page, /Not valid/, /Stopped for the person/);
  await t.until("no other control to have the keyboard", () => page.evaluate(() => document.activeElement?.tagName === "MAIN"));
  await page.keyboard.press("n");
  await page.getByRole("button", { name: "Open the run" }).waitFor();
  await page.keyboard.press("1");
  await onScreen(page, other.person);
  await page.done();
}));

test("First run leads on, away and back, and the help knows where it was asked for", { timeout: 400_000 }, () => withBox(async (box) => {
  const page = await openPage(browser, box, "/start");
  await page.getByRole("button", { name: /Is the clock right\?/ }).click();
  await page.getByRole("button", { name: /^It is right/ }).click();
  await page.getByRole("button", { name: /Is the clock right\? done/ }).waitFor();
  await accessible(page, "First run");
  await page.goto(`${box.origin}/kit`);
  await page.getByRole("link", { name: "Back to First run" }).waitFor();
  await page.keyboard.press("?");
  await page.getByRole("dialog", { name: "Kit" }).waitFor();
  await page.keyboard.press("Escape");
  await page.getByRole("dialog").waitFor({ state: "detached" });
  await page.getByRole("link", { name: "Back to First run" }).click();
  await page.waitForURL(/\/start/);
  await page.getByRole("button", { name: /Is the clock right\? done/ }).waitFor();
  await page.goto(`${box.origin}/help#inputs`);
  await page.getByRole("heading", { name: "Inputs" }).waitFor();
  await accessible(page, "Help");
  await page.done();
}));
