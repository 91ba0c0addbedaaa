// SPDX-License-Identifier: Apache-2.0

// A tester at the Bench and the hands at the contacts. The tester finds
// controls by role and name. Eyes are an onlooker at the live socket, so that
// the hands know what is due without asking the page that is under test.

import assert from "node:assert/strict";
import { sleep } from "./box.mjs";

/**
 * Waits until something holds.
 * @template T
 * @param {string} what
 * @param {() => Promise<T>|T} test
 * @param {number} [ms]
 * @returns {Promise<T>}
 */
export async function until(what, test, ms = 30_000) {
  const end = performance.now() + ms;
  for (;;) {
    const got = await test();
    if (got) return got;
    if (performance.now() > end) throw new Error(`waited ${ms} ms in vain for: ${what}`);
    await sleep(15);
  }
}

/**
 * @param {import("playwright-core").Browser} browser
 * @param {{origin: string, log: () => string, lag: () => number}} box
 */
export async function openEyes(browser, box) {
  const context = await browser.newContext();
  const page = await context.newPage();
  await page.goto(`${box.origin}/healthz`);
  await page.evaluate(() => {
    window.snap = null;
    const look = () => {
      const ws = new WebSocket(`ws://${location.host}/live`);
      ws.onopen = () => ws.send(JSON.stringify({ type: "hello", role: "trainer", contract: 1 }));
      ws.onmessage = (e) => {
        const m = JSON.parse(e.data);
        if (m.type === "snapshot") window.snap = m;
      };
      ws.onclose = () => { window.snap = null; setTimeout(look, 100); };
    };
    look();
  });
  const now = () => page.evaluate(() => window.snap);
  return {
    now,
    run: async () => (await now())?.run ?? null,
    /** @param {(run: any) => unknown} test @param {string} what @param {number} [ms] */
    async see(what, test, ms) {
      let last = null;
      try {
        return await until(what, async () => {
          last = await now();
          return last?.run && test(last.run) ? last.run : null;
        }, ms);
      } catch (e) {
        const r = last?.run;
        throw new Error(`${e.message}; it is ${r?.stage} ${JSON.stringify(r?.verdict)} at ${r?.run_ms} ms, dose ${JSON.stringify(r?.dose)}, blocked ${r?.blocked}, faults ${r?.faults}; the test itself once waited ${Math.round(box.lag())} ms for the processor\n${box.log()}`);
      }
    },
    close: () => context.close(),
  };
}

export const usual = {
  person: "Ilse Brandvold", facepiece: "Fellside Corrie, medium (half mask, rubber, with two P3 filters)",
  rules: /^US rule/, agent: "bitter", tester: "Agnes Thorley",
};

/** Makes this Bench the one that drives, whoever drove before. */
export async function takeOver(page) {
  const take = page.getByRole("button", { name: "Take over" });
  const asleep = page.getByText("Back again.");
  await until("this page to drive", async () => {
    // On a busy machine a page may have been without word for a while: the
    // first touch wakes it.
    if (await asleep.isVisible()) await asleep.click({ timeout: 1000 }).catch(() => {});
    // The page takes a free lease by itself, perhaps between this look and the
    // click; whether it drives is what is asked below, until it does.
    if (await take.isVisible()) await take.click({ timeout: 1000 }).catch(() => {});
    return (await page.getByRole("group", { name: /^Contacts/ }).getByRole("button").first().isEnabled()) && !(await take.isVisible());
  });
}

/** Chooses who, what and how, and opens the run. */
export async function openRun(page, who = usual) {
  await takeOver(page);
  await page.getByLabel("Person").selectOption({ label: who.person });
  await page.getByLabel("Facepiece").selectOption({ label: who.facepiece });
  await page.getByRole("radio", { name: who.rules }).check();
  await page.getByRole("radio", { name: who.agent }).check();
  await page.getByLabel("Tester").fill(who.tester);
  await page.getByRole("button", { name: "Open the run" }).click();
  await page.getByRole("region", { name: "Questions before the test" }).waitFor();
}

/** Answers every question with yes and says since when there was only water. */
export async function answerAll(page) {
  const questions = page.getByRole("region", { name: "Questions before the test" });
  const open = questions.getByRole("button", { pressed: false }).and(page.locator("[aria-pressed]"));
  const n = await open.count();
  assert.ok(n >= 5, `${n} questions are asked`);
  for (let left = n; left > 0; left--) {
    await open.first().click();
    await until("an answer to be shown", async () => (await open.count()) < left);
  }
  await questions.getByRole("button", { name: "30 min" }).click();
}

export const goOn = (page) => page.getByRole("button", { name: /^Go on/ }).click();

/** Squeezes until a count is reached; a press that the box did not see is made again. */
export async function squeezeTo(box, eyes, n, count) {
  for (let tries = 0; tries < 3 * n + 5; tries++) {
    const run = await eyes.run();
    const had = count(run);
    if (had >= n) return;
    await box.squeeze();
    await until("the squeeze to count", async () => count(await eyes.run()) > had, 400).catch(() => {});
  }
  throw new Error(`${n} squeezes were not reached`);
}

export const screened = (run) => run.screening.squeezes;
export const initial = (run) => (run.stage === "dosing" ? run.initial?.given ?? 0 : Number.POSITIVE_INFINITY);

/** From the Bench's first screen to the sensitivity test. */
export async function toScreening(page, eyes, who, wearer) {
  await openRun(page, who);
  if (wearer) {
    await pair(wearer, page);
    await wearer.getByRole("button", { name: "Yes" }).click();
    await wearer.getByRole("heading", { name: "Before we start" }).waitFor();
  }
  await answerAll(page);
  await goOn(page);
  await eyes.see("the sensitivity test", (r) => r.stage === "screening");
}

/** Types the code of the open run, as a Bench has it, on a Wearer's page. */
export async function pair(wearer, bench) {
  const code = await until("the code of the run", async () => JSON.parse(bench.frames.findLast((f) => f.includes('"type":"snapshot"')) ?? "{}").run?.code || null);
  await wearer.getByRole("heading", { name: "Type the four digits" }).waitFor();
  for (const digit of code) await wearer.getByRole("button", { name: digit, exact: true }).click();
  await wearer.getByRole("heading", { name: "Type the four digits" }).waitFor({ state: "detached" });
}

/** On to the facepiece, with a bin of 10 from the wearer's button. */
export async function toDonning(page, box, eyes, squeezes = 7) {
  await squeezeTo(box, eyes, squeezes, screened);
  await box.report();
  await eyes.see("the bin", (r) => r.stage === "clearing" && r.screening.bin >= squeezes);
  await goOn(page);
  await eyes.see("donning", (r) => r.stage === "donning");
}

/** Through the wait to the initial dose. */
export async function toDosing(page, eyes) {
  await eyes.see("the facepiece worn long enough", (r) => r.stage === "donning" && r.blocked === "", 40_000);
  await goOn(page);
  await eyes.see("the initial dose", (r) => r.stage === "dosing");
}

/** Through the initial dose: its last squeeze starts the clock. */
export async function toRunning(box, eyes) {
  const { initial: dose } = await eyes.run();
  await squeezeTo(box, eyes, dose.required, initial);
  await eyes.see("the run clock", (r) => r.stage === "running");
}

/** All the way to the run clock. */
export async function toClock(page, box, eyes, who) {
  await toScreening(page, eyes, who);
  await toDonning(page, box, eyes);
  await toDosing(page, eyes);
  await toRunning(box, eyes);
}

/** Gives every top-up when it is due, until the run ends or is told to stop. */
export async function keepGiving(box, eyes, told = { stop: false }) {
  while (!told.stop) {
    const run = await eyes.run();
    if (run?.stage !== "running") return;
    const d = run.dose;
    if (d && run.run_ms >= d.due_ms && d.given < d.required) {
      for (let left = d.required - d.given; left > 0; left--) await box.squeeze();
      await until("the squeezes to count", async () => {
        const r = await eyes.run();
        return r?.stage !== "running" || (r.top_ups[d.n - 1]?.given ?? 0) >= d.required;
      }, 200).catch(() => {});
    } else {
      await sleep(10);
    }
  }
}

/** The verdict as the page says it. */
export async function verdict(page, word, reason, ms = 30_000) {
  const region = page.getByRole("region", { name: "Verdict" });
  await region.waitFor({ timeout: ms });
  assert.match(await region.innerText(), word);
  if (reason) assert.match(await region.innerText(), reason);
  return region;
}

/** Sets the finished run aside. */
export async function nextRun(page) {
  await page.getByRole("button", { name: /^Next run/ }).click();
  await page.getByRole("button", { name: "Open the run" }).waitFor();
}
