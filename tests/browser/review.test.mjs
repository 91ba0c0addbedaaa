// SPDX-License-Identifier: Apache-2.0

// A run that has ended is reviewed on its page, and shared as one file that
// opens from a disk, without a network, and plays.

import assert from "node:assert/strict";
import { mkdtempSync, readFileSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { after, before, test } from "node:test";
import { withBox } from "./box.mjs";
import { accessible, openPage, picture, startBrowser } from "./browser.mjs";
import * as t from "./tester.mjs";

let browser;
before(async () => { browser = await startBrowser(); });
after(() => browser?.close());

test("a run is reviewed, and shared as a file without names", { timeout: 400_000 }, () => withBox(async (box) => {
  const eyes = await t.openEyes(browser, box);
  const bench = await openPage(browser, box, "/bench");
  await t.takeOver(bench);
  await t.toScreening(bench, eyes);
  await t.squeezeTo(box, eyes, 3, t.screened);
  const { run } = await eyes.run();
  const shownThen = (await eyes.run()).screening.squeezes;
  await bench.keyboard.press("h"); // the hood comes off: not valid
  await t.verdict(bench, /Not valid/);

  const page = await openPage(browser, box, `/review/${run}`);
  await page.getByRole("button", { name: /^Play/ }).waitFor();
  await accessible(page, "review");
  await picture(page, "review");
  // Fact by fact to the third squeeze: the page shows what was shown.
  for (let i = 0; i < 60 && !(await page.getByText(`Sensitivity test, ${shownThen} of 30`).isVisible()); i++) await page.keyboard.press("ArrowRight");
  await page.getByText(`Sensitivity test, ${shownThen} of 30`).waitFor();
  assert.ok(await page.getByText("Practice", { exact: true }).first().isVisible(), "practice is not said");
  // A remark is a way to its moment.
  await page.getByRole("button", { name: /Verdict: Not valid/ }).click();
  await page.getByText("The hood came off during the test.").waitFor();
  await page.keyboard.press("Home");
  await page.keyboard.press("ArrowUp");
  await t.until("it to be faster", () => page.getByRole("radio", { name: "2×" }).isChecked());
  await page.keyboard.press(" ");
  await t.until("the review plays", async () => /^0:(0[1-9]|[1-5])/.test(await page.locator(".player .at").innerText()));
  await page.keyboard.press(" ");
  await page.getByRole("button", { name: /^Play/ }).waitFor();
  await page.keyboard.press("m");
  await page.getByRole("button", { name: /^Muted/ }).waitFor();
  const dir = mkdtempSync(join(tmpdir(), "tallyhood-review-"));
  try {
    const file = join(dir, "review.html");
    const [download] = await Promise.all([page.waitForEvent("download"), page.getByRole("link", { name: /Save as one file/ }).click()]);
    await download.saveAs(file);
    await page.done();
    const two = await openPage(browser, box, `/review/${run}/${run}`);
    await two.getByRole("article").nth(1).waitFor();
    await accessible(two, "two reviews");
    await two.done();
    await bench.done();

    const text = readFileSync(file, "utf8");
    const people = await (await fetch(`${box.origin}/api/choices`)).json();
    const names = [...people.people.map((p) => p.label), ...people.people.map((p) => p.id), ...people.testers];
    assert.ok(names.length >= 6, "nobody is known here");
    for (const name of names) assert.ok(!text.includes(name), `the file holds ${name}`);

    const context = await browser.newContext({ offline: true, reducedMotion: "reduce" });
    const disk = await context.newPage();
    const wrong = [];
    disk.on("request", (r) => { if (r.url() !== `file://${file}`) wrong.push(`request to ${r.url()}`); });
    disk.on("console", (m) => { if (m.type() === "error") wrong.push(m.text()); });
    disk.on("pageerror", (e) => wrong.push(String(e)));
    await disk.goto(`file://${file}`);
    await disk.getByText("This file holds no names").waitFor();
    assert.ok(await disk.getByText("Practice", { exact: true }).first().isVisible(), "practice is not said in the file");
    await disk.getByRole("button", { name: /^Play/ }).click();
    await t.until("the file plays", async () => /^0:(0[1-9]|[1-5])/.test(await disk.locator(".player .at").innerText()));
    await disk.getByRole("button", { name: /^Pause/ }).click();
    await disk.getByRole("button", { name: /Verdict: Not valid/ }).click();
    await disk.getByText("The hood came off during the test.").waitFor();
    // What it is forbidden to ask for it does not get.
    assert.equal(await disk.evaluate(async (url) => fetch(url).then(() => "answered", () => "refused"), box.origin).catch(() => "refused"), "refused");
    await accessible(disk, "the file").catch((e) => { if (!/Content Security Policy/.test(e.message)) throw e; });
    await context.close();
    assert.deepEqual(wrong.filter((w) => !w.includes(box.origin) && !w.includes("Content Security Policy")), []);
  } finally {
    rmSync(dir, { recursive: true });
  }
}));
