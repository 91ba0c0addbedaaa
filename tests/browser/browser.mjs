// SPDX-License-Identifier: Apache-2.0

// The browser, and what holds for every page at every moment: no error on the
// console, no request that leaves the box. It must not know what a run is.

import assert from "node:assert/strict";
import { mkdirSync } from "node:fs";
import { createRequire } from "node:module";

const require = createRequire(new URL("../../.ci/package.json", import.meta.url));
const { chromium } = require("playwright-core");
const axe = require("axe-core");

const screens = new URL("../../build/screens/", import.meta.url).pathname;
const args = [
  "--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update", "--disable-sync", "--no-first-run",
  "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1", // offline but for the box
];

/** Starts the browser; a start that hangs is tried once more. */
export async function startBrowser() {
  const options = { executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium", args, timeout: 30_000 };
  try {
    return await chromium.launch(options);
  } catch {
    return chromium.launch(options);
  }
}

export const sizes = { desk: { width: 1280, height: 800 }, low: { width: 800, height: 480 }, phone: { width: 390, height: 844 } };

/**
 * A page of its own, as on a device of its own.
 * @param {import("playwright-core").Browser} browser
 * @param {{origin: string}} box
 * @param {string} path
 * @param {{size?: keyof typeof sizes, scheme?: "light"|"dark", mayMiss?: boolean, mayRefuse?: boolean, locked?: boolean}} [how] mayMiss: the box goes away meanwhile; mayRefuse: something is tried that the box refuses; locked: its records are, which it answers with 503
 */
export async function openPage(browser, box, path, { size = "desk", scheme = "light", mayMiss = false, mayRefuse = false, locked = false } = {}) {
  const context = await browser.newContext({ viewport: sizes[size], colorScheme: scheme, reducedMotion: "reduce" });
  const page = await context.newPage();
  page.setDefaultTimeout(30_000); // a bound, for a machine that is busy with much else
  const wrong = [];
  const frames = [];
  const origin = box.origin;
  const refused = /status of 409/;
  const missing = /ERR_CONNECTION_REFUSED|ERR_CONNECTION_RESET|ERR_EMPTY_RESPONSE/;
  page.on("request", (r) => {
    const url = new URL(r.url());
    if (url.origin !== origin && url.protocol !== "data:") wrong.push(`request to ${r.url()}`);
  });
  page.on("websocket", (ws) => {
    if (new URL(ws.url()).host !== new URL(origin).host) wrong.push(`socket to ${ws.url()}`);
    ws.on("framereceived", (f) => frames.push(String(f.payload)));
  });
  page.on("console", (m) => {
    if (m.type() === "error" && !(mayMiss && missing.test(m.text())) && !(mayRefuse && refused.test(m.text())) && !(locked && /status of 503/.test(m.text()))) wrong.push(`console: ${m.text()} (${m.location().url})`);
  });
  page.on("pageerror", (e) => wrong.push(`thrown: ${e.stack ?? e.message}`));
  page.on("response", (r) => { if (r.status() >= 400 && !(mayRefuse && r.status() === 409) && !(locked && r.status() === 503)) wrong.push(`${r.status()} for ${r.url()}`); });
  await page.goto(origin + path);
  // A busy machine may leave a page without word from the box for a while; a
  // tester then touches it once to wake it. A page of states is never asleep.
  if (!mayMiss && !path.startsWith("/page/")) {
    const asleep = page.getByText("Back again.");
    await page.addLocatorHandler(asleep, () => asleep.click({ timeout: 1000 }).catch(() => {}));
  }
  return Object.assign(page, {
    frames,
    /** Closes the page and fails if anything was wrong on it. */
    async done() {
      await context.close();
      assert.deepEqual(wrong, [], `on ${path}`);
    },
  });
}

/**
 * Opens a page of states and waits until it can show them: its script still
 * loads words when the page itself has loaded.
 * @param {import("playwright-core").Browser} browser
 * @param {{origin: string}} box
 * @param {string} path for example states-office; with ?only=NAME one state alone is drawn
 * @param {number} least how many states there are at least
 * @param {Parameters<typeof openPage>[3]} [how]
 * @returns {Promise<{page: any, names: string[]}>}
 */
export async function openStates(browser, box, path, least, how) {
  const page = await openPage(browser, box, `/page/${path}`, how);
  await statesReady(page);
  const names = await page.evaluate(() => window.stateNames);
  assert.ok(names.length >= least, `${path} has ${names.length} states, and should have ${least} or more`);
  return { page, names };
}

/** Waits until a page of states can show them; the bound is for a machine that is busy with much else. */
export async function statesReady(page) {
  await page.waitForFunction(() => window.showState !== undefined, null, { timeout: 90_000 });
}

/**
 * Fails on any finding of axe, in light and in dark.
 * @param {import("playwright-core").Page} page
 * @param {string} where
 */
export async function accessible(page, where, schemes = /** @type {("light"|"dark")[]} */ (["light", "dark"])) {
  const found = [];
  for (const colorScheme of schemes) {
    await page.emulateMedia({ colorScheme });
    await page.evaluate(`if (!window.axe) { ${axe.source} }`);
    const violations = await page.evaluate(async () => (await window.axe.run(document, { resultTypes: ["violations"] })).violations
      .map((v) => ({ id: v.id, nodes: v.nodes.map((n) => `${n.target} ${n.any[0]?.message ?? n.failureSummary}`) })));
    for (const v of violations) found.push(`${colorScheme} ${v.id}: ${v.nodes.slice(0, 3).join(" | ")}`);
  }
  await page.emulateMedia({ colorScheme: "light" });
  assert.deepEqual(found, [], `axe on ${where}`);
}

/**
 * Pictures of a page at every size in light and dark, for people to look at.
 * @param {import("playwright-core").Page} page
 * @param {string} name
 */
export async function picture(page, name) {
  mkdirSync(screens, { recursive: true });
  const was = page.viewportSize();
  for (const [size, viewport] of Object.entries(sizes)) {
    await page.setViewportSize(viewport);
    for (const colorScheme of /** @type {const} */ (["light", "dark"])) {
      await page.emulateMedia({ colorScheme });
      await page.screenshot({ path: `${screens}${name}-${size}-${colorScheme}.png` });
    }
  }
  await page.setViewportSize(was);
  await page.emulateMedia({ colorScheme: "light" });
}

/**
 * Fails when the page would scroll, or when a control sticks out of the screen.
 * @param {import("playwright-core").Page} page
 * @param {string} where
 */
export async function fits(page, where) {
  const got = await page.evaluate(() => {
    const e = document.scrollingElement;
    const out = [];
    for (const b of document.querySelectorAll("button")) {
      const r = b.getBoundingClientRect();
      if (r.width > 0 && (r.left < -0.5 || r.top < -0.5 || r.right > innerWidth + 0.5 || r.bottom > innerHeight + 0.5)) out.push(b.innerText);
    }
    return { down: e.scrollHeight - innerHeight, across: e.scrollWidth - innerWidth, out };
  });
  assert.ok(got.down <= 0 && got.across <= 0, `${where} scrolls by ${got.across} x ${got.down} px`);
  assert.deepEqual(got.out, [], `${where}: controls outside the screen`);
}
