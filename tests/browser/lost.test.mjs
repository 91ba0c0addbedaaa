// SPDX-License-Identifier: Apache-2.0

// The plug is pulled in the middle of a run while pages are open.

import assert from "node:assert/strict";
import { after, before, test } from "node:test";
import { sleep, withBox } from "./box.mjs";
import { openPage, startBrowser } from "./browser.mjs";
import * as t from "./tester.mjs";

let browser;
before(async () => { browser = await startBrowser(); });
after(() => browser?.close());

test("a killed box leaves stale pages, and after it is back a run that is not valid", { timeout: 300_000 }, () => withBox(async (box) => {
  const eyes = await t.openEyes(browser, box);
  const page = await openPage(browser, box, "/bench", { mayMiss: true });
  const wearer = await openPage(browser, box, "/wearer", { mayMiss: true });
  await t.toClock(page, box, eyes);
  const told = { stop: false };
  const giving = t.keepGiving(box, eyes, told);
  await t.pair(wearer, page);
  const { run } = await eyes.see("ten seconds of the run", (r) => r.run_ms > 10_000);
  told.stop = true;
  await giving;
  await box.kill();

  await page.getByText("No word from the box.").waitFor();
  for (const name of [/^Said it aloud/, /^Hood off/, /^Stop now/]) {
    assert.equal(await page.getByRole("button", { name }).isDisabled(), true, `${name} on a stale page`);
  }
  const shown = await page.getByRole("region", { name: "Now" }).innerText();
  await sleep(500);
  assert.equal(await page.getByRole("region", { name: "Now" }).innerText(), shown, "nothing runs on a stale page");
  await wearer.getByRole("heading", { name: "Listen to the tester" }).waitFor();

  await box.restart();
  await page.getByText("No word from the box.").waitFor({ state: "detached", timeout: 60_000 });
  // The first touch after a loss wakes the page and does nothing else.
  await page.getByText("Back again.").waitFor();
  await page.getByRole("link", { name: "Records" }).click();
  await page.getByText("Back again.").waitFor({ state: "detached" });
  assert.equal(new URL(page.url()).pathname, "/bench");
  await t.takeOver(page);
  await page.getByRole("button", { name: "Open the run" }).waitFor();
  await wearer.getByRole("heading", { name: "Type the four digits" }).waitFor(); // its run is closed

  await page.getByRole("link", { name: "Records" }).click();
  await page.getByRole("heading", { name: "Records" }).waitFor();
  await page.getByText("Not valid").first().waitFor();
  await page.locator(`a[href="/records/${run}"]`).first().click();
  await page.getByText("Power was lost").first().waitFor();
  assert.match(await page.getByRole("main").innerText(), /Not valid/);
  await page.done();
  await wearer.done();
}));
