// SPDX-License-Identifier: Apache-2.0

// The page Inputs: the guided check with good and with crossed wires, sound,
// the self-test of sound and contact, a pedal that is not there, the clock.

import assert from "node:assert/strict";
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { after, before, test } from "node:test";
import { sleep, withBox } from "./box.mjs";
import { accessible, fits, openPage, picture, sizes, startBrowser } from "./browser.mjs";
import * as t from "./tester.mjs";

let browser;
let dir; // for the sound that comes out
before(async () => {
  dir = mkdtempSync(join(tmpdir(), "tallyhood-inputs-"));
  browser = await startBrowser();
});
after(async () => {
  await browser?.close();
  rmSync(dir, { recursive: true, force: true });
});

const say = (page) => page.getByRole("region", { name: "To do now" });
const contact = (page, name) => page.getByRole("region", { name: "Contacts" }).getByRole("listitem", { name, exact: true });
const snapshots = (page) => page.frames.map((f) => JSON.parse(f)).filter((m) => m.type === "snapshot");

/** What the box asks for now, as a person reads it; empty when it asks nothing. */
const asked = async (page) => ((await say(page).isVisible()) ? (await say(page).getByText(/\./).first().innerText().catch(() => "")) : "");

/** The sentences of the check, and the contacts that a hand moves for each. */
const hands = [
  [/^Hands off/, "", 0], [/^Squeeze the bulb/, "squeeze", 1], [/^Let the bulb/, "squeeze", 0], [/^Press the step/, "step", 1], [/^Let the step/, "step", 0],
  [/^Press the wearer's button/, "button", 1], [/^Let the button/, "button", 0],
];

/**
 * Does what the page asks until it asks nothing more.
 * @param {Record<string, (level: number) => string[]>} wires what a hand's movement sets at the board
 */
async function obey(page, box, wires) {
  const did = [];
  await t.until("the check to end", async () => {
    const text = await asked(page);
    const [, what, level] = hands.find(([re]) => re.test(text)) ?? [];
    if (what && did.at(-1) !== `${what} ${level}`) {
      did.push(`${what} ${level}`);
      box.set(...wires[what](level));
    }
    return did.length > 0 && text === "";
  }, 60_000);
  return did;
}

const good = {
  squeeze: (l) => [`squeeze ${l}`], step: (l) => [`step ${l}`],
  button: (l) => (l ? ["taste_nc 0", "taste_no 1"] : ["taste_no 0", "taste_nc 1"]),
};
const inOrder = ["squeeze 1", "squeeze 0", "step 1", "step 0", "button 1", "button 0"];

test("every contact is live, and the guided check passes good wires and finds crossed ones", { timeout: 400_000 }, () => withBox(async (box) => {
  const page = await openPage(browser, box, "/inputs");
  await t.takeOver(page);
  assert.match(await contact(page, "Bulb").innerText(), /open/);
  assert.match(await contact(page, "Button, opening").innerText(), /closed/);
  box.set("squeeze 1");
  await contact(page, "Bulb").getByText("closed", { exact: true }).waitFor();
  await sleep(300);
  box.set("squeeze 0");
  await contact(page, "Bulb").getByText("open", { exact: true }).waitFor();
  await t.until("the press to be counted", async () => /1 press,/.test(await contact(page, "Bulb").innerText()));

  // The same by the contacts on the page.
  await page.getByRole("button", { name: /^Step/ }).dispatchEvent("pointerdown", { pointerId: 1 });
  await contact(page, "Step").getByText("closed", { exact: true }).waitFor();
  await page.getByRole("button", { name: /^Step/ }).dispatchEvent("pointerup", { pointerId: 1 });
  await contact(page, "Step").getByText("open", { exact: true }).waitFor();

  const wires = page.getByRole("region", { name: "Wires" });
  await wires.getByRole("button", { name: /^Check the wires/ }).click();
  await say(page).waitFor();
  await page.setViewportSize(sizes.low);
  await fits(page, "the guided check at 800 x 480");
  await page.setViewportSize(sizes.desk);
  assert.deepEqual(await obey(page, box, good), inOrder);
  await wires.getByText("No wire is crossed.").waitFor();
  await page.getByText("The contacts answer, and no wire is crossed.").waitFor();

  // Bulb and step are crossed behind the plug.
  await wires.getByRole("button", { name: /^Check again/ }).click();
  assert.deepEqual(await obey(page, box, { ...good, squeeze: good.step, step: good.squeeze }), inOrder);
  const found = page.getByRole("list", { name: "Found", exact: true });
  await found.waitFor();
  assert.deepEqual((await found.getByRole("listitem").allInnerTexts()).map((x) => x.split(".")[0]), [
    "Crossed: asked for the bulb's contact, moved the step contact", "Crossed: asked for the step contact, moved the bulb's contact",
  ]);
  await page.getByText("The wires are not right.").waitFor();
  await picture(page, "inputs-crossed");
  await accessible(page, "inputs, crossed");

  // One of the button's wires is off.
  await wires.getByRole("button", { name: /^Check again/ }).click();
  await obey(page, box, { ...good, button: (l) => [`taste_nc ${1 - l}`] });
  await found.getByText(/^Half: the button's opening contact moved, the button's closing contact did not/).waitFor();

  // A check that is left says nothing.
  await wires.getByRole("button", { name: /^Check again/ }).click();
  await say(page).waitFor();
  await picture(page, "inputs-check");
  await accessible(page, "inputs, checking");
  await page.getByRole("button", { name: /^End the check/ }).click();
  await say(page).waitFor({ state: "detached" });
  assert.equal(await page.getByText("No wire is crossed.").isVisible(), false);

  // A cable that comes out is seen, and the box's health is on the page.
  box.set("taste_nc 0");
  await page.getByText("The button's cable is open.").waitFor();
  box.set("taste_nc 1");
  await page.getByText("The button's cable is open.").waitFor({ state: "detached" });
  await page.getByRole("region", { name: "Box" }).getByText("simulated board").waitFor();
  await t.until("the room for records to be told", async () => /Room for records\s+[\d.]+ (MB|GB|TB) free of/.test(await page.getByRole("region", { name: "Box" }).innerText()));
  await page.getByRole("link", { name: "Cautions" }).click();
  await page.getByRole("region", { name: "Cautions" }).getByText("Extra-low voltage only.").waitFor();
  await page.done();
}, { speed: 3 }));

test("what a box without sound and without a pedal cannot do is said in words, and a tone sounds", { timeout: 400_000 }, async () => {
  const wav = join(dir, "sound.wav");
  await withBox(async (box) => {
    const page = await openPage(browser, box, "/inputs");
    await t.takeOver(page);
    const sound = page.getByRole("region", { name: "Sound" });
    const replies = () => page.frames.map((f) => JSON.parse(f)).filter((m) => m.type === "reply");
    const before = replies().length;
    await sound.getByRole("button", { name: /^Due/ }).click();
    await sound.getByRole("button", { name: /^Stop/ }).click();
    await t.until("both tones to be taken", () => replies().length === before + 2);
    assert.deepEqual(replies().slice(before).map((r) => r.ok), [true, true]);
    await sleep(1500 / box.speed);

    await sound.getByRole("button", { name: /^Measure it/ }).click();
    await page.getByText("No sound comes out, so this cannot be tried.").waitFor();
    await page.getByRole("region", { name: "Pedals" }).getByRole("button", { name: /^Learn for step/ }).click();
    await page.getByText("There is no pedal that could be learned.").waitFor();
    await page.done();
  }, { speed: 2, args: ["--sound", wav] });
  const data = readFileSync(wav).subarray(44);
  let loudest = 0;
  for (let k = 0; k + 1 < data.length; k += 2) loudest = Math.max(loudest, Math.abs(data.readInt16LE(k)));
  assert.ok(loudest > 1000, `the loudest sample of the tones is ${loudest}`);
});

test("the self-test of sound and contact counts its tones and ends with a figure, or says why not", { timeout: 400_000 }, (ctx) => {
  const conf = join(dir, "null.toml");
  // A card that takes everything and is heard by nobody, as ALSA names it.
  writeFileSync(conf, '[sound]\ndevice = "null"\nspeak = false\n');
  return withBox(async (box) => {
    const page = await openPage(browser, box, "/inputs");
    await t.takeOver(page);
    const silent = snapshots(page).at(-1).sound;
    if (silent !== "") {
      ctx.skip(`missing part: a player of sound (${silent})`);
      return;
    }
    const sound = page.getByRole("region", { name: "Sound" });
    await sound.getByRole("button", { name: /^Measure it/ }).click();
    await say(page).getByText("Squeeze the bulb").waitFor();
    await page.setViewportSize(sizes.low);
    await fits(page, "the self-test at 800 x 480");
    await page.setViewportSize(sizes.desk);
    // A hand that hears by the snapshots, up to a quarter of a second late, and
    // then takes as long as a person does.
    let heard = 0;
    await t.until("the self-test to end", async () => {
      const now = snapshots(page).at(-1).inputs.latency;
      if (now.asked > heard) {
        heard = now.asked;
        await sleep(140);
        await box.squeeze();
      }
      return now.done;
    }, 90_000);
    assert.equal(heard, 12);
    await say(page).waitFor({ state: "detached" });
    const last = snapshots(page).at(-1).inputs.latency;
    assert.notEqual(last.why, "too_few", "every press came after its tone");
    const text = await sound.innerText();
    if (last.why === "") assert.match(text, new RegExp(`${Math.round(last.mid_ms)} ms`));
    else assert.match(text, /No figure: the presses lie too far apart/);
    await picture(page, "inputs-measured");
    await accessible(page, "inputs, measured");
    await page.done();
  }, { speed: 1, args: ["--sound", "auto", "--config", conf] });
});

test("a person corrects the clock, and a clock behind its own records bars a run until somebody confirms it", { timeout: 400_000 }, (ctx) => withBox(async (box) => {
  const eyes = await t.openEyes(browser, box);
  let page = await openPage(browser, box, "/inputs");
  await t.takeOver(page);
  const { quality } = (await eyes.now()).clock;
  if (quality === "network") {
    ctx.skip("missing part: a machine whose clock no time server keeps");
    await eyes.close();
    return;
  }
  const clock = page.getByRole("region", { name: "Clock" });
  await clock.getByRole("button", { name: /^It is right/ }).click();
  await clock.getByText("Confirmed by a person").waitFor();

  // To a date ahead of the machine's, which the record of a run then bears.
  const day = new Date(Date.now() + 3 * 86_400_000).toISOString().slice(0, 10);
  await clock.getByRole("button", { name: /^It is wrong/ }).click();
  await clock.getByLabel(/^Date/).fill(day);
  await clock.getByLabel("Time", { exact: true }).fill("10:20:30");
  await clock.getByRole("button", { name: /^Set and confirm/ }).click();
  await clock.getByText(new RegExp(`${day} 10:(20|21)`)).waitFor();

  await page.getByRole("link", { name: "Bench" }).click();
  await t.openRun(page);
  const inputs = await openPage(browser, box, "/inputs");
  await inputs.getByText("A run is open.").waitFor();
  assert.equal(await inputs.getByRole("button", { name: /^Check/ }).isDisabled(), true, "no check while a run is open");
  await inputs.done();
  await page.getByRole("button", { name: /^Stop now/ }).click();
  await t.verdict(page, /Not valid/);
  await t.nextRun(page);
  await page.done();
  await box.kill();
  await box.restart();

  // After the plug was pulled the machine's clock is behind that record.
  page = await openPage(browser, box, "/bench");
  await t.takeOver(page);
  await page.getByText("The box's clock is not set.").waitFor();
  await page.getByLabel("Person").selectOption({ label: t.usual.person });
  await page.getByLabel("Facepiece").selectOption({ label: t.usual.facepiece });
  await page.getByRole("radio", { name: t.usual.rules }).check();
  await page.getByRole("radio", { name: t.usual.agent }).check();
  await page.getByLabel("Tester").fill(t.usual.tester);
  assert.equal(await page.getByRole("button", { name: "Open the run" }).isDisabled(), true, "no run on an unset clock");
  await picture(page, "bench-clock-unset");
  await accessible(page, "the Bench on an unset clock");
  await page.getByRole("button", { name: /^It is wrong/ }).click();
  await page.getByRole("button", { name: /^Take this screen's/ }).click();
  await page.getByRole("button", { name: /^Set and confirm/ }).click();
  await page.getByText("The box's clock is not set.").waitFor({ state: "detached" });
  await page.getByRole("button", { name: "Open the run" }).click();
  await page.getByRole("region", { name: "Questions before the test" }).waitFor();
  const told = Date.parse((await eyes.now().catch(() => null))?.clock.wall ?? snapshots(page).at(-1).clock.wall);
  // Three days would be wrong; ten times as fast, a busy machine's seconds are minutes.
  assert.ok(Math.abs(told - Date.now()) < 300_000, `the box's time is ${new Date(told).toISOString()}`);
  await page.done();
  await eyes.close();
}, { speed: 10 }));
