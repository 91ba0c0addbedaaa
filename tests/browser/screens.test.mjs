// SPDX-License-Identifier: Apache-2.0

// Every page at every stage of a live run, in pictures in build/screens for people
// to look at, and nothing that axe finds at those that live data changes most:
// access.test.mjs asks it about every state, in both themes.

import { after, before, test } from "node:test";
import { withBox } from "./box.mjs";
import { accessible, fits, openPage, picture, sizes, startBrowser } from "./browser.mjs";
import * as t from "./tester.mjs";

let browser;
before(async () => { browser = await startBrowser(); });
after(() => browser?.close());

// Slower than elsewhere: a picture takes time, and top-ups fall due meanwhile.
const speed = 18;

const audited = ["bench-opening", "bench-answered", "bench-running", "gallery-running", "wearer-running", "bench-pass", "records", "record"];

test("every page can be read by everybody, at every stage", { timeout: 400_000 }, () => withBox(async (box) => {
  const eyes = await t.openEyes(browser, box);
  const bench = await openPage(browser, box, "/bench");
  const gallery = await openPage(browser, box, "/gallery");
  const wearer = await openPage(browser, box, "/wearer");
  const found = [];
  const look = async (page, name) => {
    await picture(page, name);
    if (audited.includes(name)) await accessible(page, name, ["light"]).catch((e) => found.push(e.message));
  };
  const fit = async (name) => {
    await bench.setViewportSize(sizes.low);
    await fits(bench, name).catch((e) => found.push(e.message));
    await bench.setViewportSize(sizes.desk);
  };

  await t.takeOver(bench);
  await look(bench, "bench-opening");
  await look(wearer, "wearer-pair");
  await look(gallery, "gallery-none");
  await t.openRun(bench);
  await t.pair(wearer, bench);
  await look(wearer, "wearer-name");
  await wearer.getByRole("button", { name: "Yes" }).click();
  await look(bench, "bench-ready");
  await t.answerAll(bench);
  await look(bench, "bench-answered");
  await t.goOn(bench);
  await t.squeezeTo(box, eyes, 7, t.screened);
  await look(bench, "bench-screening");
  await fit("bench at 800 x 480, screening");
  await bench.getByRole("button", { name: /^Wrong count/ }).click();
  await look(bench, "bench-correcting");
  await bench.getByRole("button", { name: "Leave as it is" }).click();
  await look(wearer, "wearer-screening");
  await box.report();
  await eyes.see("the bin", (r) => r.stage === "clearing");
  await look(bench, "bench-clearing");
  await t.goOn(bench);
  await eyes.see("donning", (r) => r.stage === "donning");
  await look(bench, "bench-donning");
  await look(wearer, "wearer-donning");
  await t.toDosing(bench, eyes);
  await t.squeezeTo(box, eyes, 4, t.initial);
  await look(bench, "bench-dosing");
  await fit("bench at 800 x 480, dosing");

  await t.toRunning(box, eyes);
  const giving = t.keepGiving(box, eyes);
  await eyes.see("deep breathing", (r) => r.exercise === 1);
  await look(wearer, "wearer-deep");
  await look(gallery, "gallery-running");
  await eyes.see("a squeeze due", (r) => r.exercise >= 3 && r.dose && r.dose.given >= 2 && r.dose.given < r.dose.required);
  await look(bench, "bench-running");
  await fit("bench at 800 x 480, running");
  await look(wearer, "wearer-running");
  await giving;
  await t.verdict(bench, /Pass/);
  await look(bench, "bench-pass");
  await look(gallery, "gallery-over");
  await look(wearer, "wearer-over");
  await t.nextRun(bench);

  // A run that stops early, for the look of what is not a pass.
  await t.toScreening(bench, eyes);
  await t.squeezeTo(box, eyes, 2, t.screened);
  await bench.getByRole("button", { name: /^Stop now/ }).click();
  await t.verdict(bench, /Not valid/);
  await look(bench, "bench-not-valid");

  const records = await openPage(browser, box, "/records");
  await records.getByText("Not valid").first().waitFor();
  await look(records, "records");
  await records.getByRole("row").filter({ hasText: "Pass" }).getByRole("link").first().click();
  await records.getByText("Pass").first().waitFor();
  await look(records, "record");
  for (const page of [bench, gallery, wearer, records]) await page.done();
  if (found.length) throw new Error(found.join("\n\n"));
}, { speed }));
