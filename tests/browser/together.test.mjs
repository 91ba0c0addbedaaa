// SPDX-License-Identifier: Apache-2.0

// Several people look at one run: who drives, who watches, and what the wearer
// must never see.

import assert from "node:assert/strict";
import { after, before, test } from "node:test";
import { withBox } from "./box.mjs";
import { fits, openPage, startBrowser } from "./browser.mjs";
import * as t from "./tester.mjs";

let first; // two browsers, as on two machines
let second;

before(async () => { [first, second] = await Promise.all([startBrowser(), startBrowser()]); });
after(() => Promise.all([first?.close(), second?.close()]));

const inert = async (page, name) => {
  const b = page.getByRole("button", { name });
  await b.waitFor();
  return b.isDisabled();
};

test("all pages show the same stage, one drives, and the wearer learns nothing", { timeout: 300_000 }, () => withBox(async (box) => {
  const eyes = await t.openEyes(first, box);
  const bench = await openPage(first, box, "/bench");
  const low = await openPage(second, box, "/bench", { size: "low" });
  const gallery = await openPage(second, box, "/gallery");
  const wearer = await openPage(second, box, "/wearer");

  const innocent = async (where) => {
    const text = (await wearer.getByRole("main").innerText()).replace(/Practice.*/i, "");
    assert.doesNotMatch(text, /\d/, `${where}: the wearer sees a figure`);
    assert.doesNotMatch(text, /Ilse|Brandvold|Agnes|Thorley/, `${where}: the wearer sees a name`);
    assert.doesNotMatch(text, /\b(pass(ed)?|fail(ed)?|not valid|bin)\b/i, `${where}: the wearer sees a verdict or a bin`);
  };
  const all = async (where, onBench, onWearer) => {
    for (const page of [bench, low, gallery]) await page.getByRole("main").getByText(onBench).filter({ visible: true }).first().waitFor();
    await wearer.getByRole("heading", { name: onWearer }).waitFor();
    await innocent(where);
  };

  await t.toScreening(bench, eyes, undefined, wearer);
  await all("screening", "Sensitivity test", /Mouth open/);
  await low.getByText("Watching.").waitFor();
  assert.equal(await inert(low, /^Hood off/), true, "who watches cannot press");
  assert.equal(await inert(bench, /^Hood off/), false);

  await t.squeezeTo(box, eyes, 7, t.screened);
  await box.report();
  await all("clearing", "Clear the taste, put on", /Rinse/);

  // The second Bench takes over; the first one watches from then on.
  await low.getByRole("button", { name: "Take over" }).click();
  await bench.getByText("Watching.").waitFor();
  assert.equal(await inert(bench, /^Go on/), true);
  await t.goOn(low);
  await all("donning", "Wear it", /Keep your facepiece on/);
  await t.toDosing(low, eyes);
  await all("dosing", "Initial dose", /Breathe normally/);
  assert.doesNotMatch(await gallery.getByRole("main").innerText(), /Ilse|Brandvold/, "trainers see no name");

  await t.toRunning(box, eyes);
  const giving = t.keepGiving(box, eyes);
  await all("running", "Normal breathing", /Breathe normally/);
  await fits(low, "the running Bench at 800 x 480");
  await eyes.see("deep breathing", (r) => r.exercise === 1);
  await all("deep breathing", "Deep breathing", /slowly and deeply/);
  await fits(low, "the running Bench at 800 x 480");

  await low.getByRole("button", { name: /^Stop now/ }).click();
  await giving;
  await t.verdict(low, /Not valid/, /Stopped for the person/);
  await t.verdict(bench, /Not valid/, /Stopped for the person/);
  await gallery.getByText("Not valid").first().waitFor();
  await wearer.getByRole("heading", { name: "The test is over" }).waitFor();
  await innocent("over");

  // Nothing of it comes down the wire either.
  const runs = wearer.frames.map((f) => JSON.parse(f)).filter((m) => m.type === "snapshot" && m.run).map((m) => m.run);
  assert.ok(runs.length > 20, `${runs.length} snapshots came to the wearer's page`);
  const asked = (/** @type {{stage: string, name_said: string}} */ r) => r.stage === "ready" && r.name_said === "";
  for (const r of runs) {
    assert.equal((asked(r) ? "" : r.wearer) + r.tester + r.facepiece + r.code, "");
    assert.deepEqual([r.screening, r.dose, r.initial, r.top_ups, r.squeezes_ms, r.verdict], [{ squeezes: 0, counted: 0, most: 0, bin: 0 }, null, null, [], [], null]);
  }
  for (const page of [bench, low, gallery, wearer]) await page.done();
  await eyes.close();
}));
