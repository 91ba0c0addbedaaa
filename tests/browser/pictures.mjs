// SPDX-License-Identifier: Apache-2.0

// Draws every state of every page from the reference pages: for README.md into
// screens/, and for console/pictures.md, which it writes, into screens/states/.
// `node tests/browser/pictures.mjs` makes all of them anew, with a pattern only
// those whose name it fits. Needs chromium and pngquant. The pages are read
// from the disk: no box has a part in this.

import { execFileSync } from "node:child_process";
import { mkdirSync, readFileSync, writeFileSync } from "node:fs";
import { extname } from "node:path";
import { sizes, startBrowser } from "./browser.mjs";
import { lower, more, parts, readme } from "./pictures-told.mjs";

const web = new URL("../../console/web/", import.meta.url);
const screens = new URL("screens/", import.meta.url);
const types = { ".html": "text/html", ".js": "text/javascript", ".css": "text/css", ".json": "application/json", ".svg": "image/svg+xml" };
const origin = "http://127.0.0.1:1"; // nothing answers there: every request is answered from the disk

/** Of a page taller than this its upper part is shown, or its lower one where that is what the state is about. */
const tallest = 1700;
const pattern = new RegExp(process.argv[2] ?? "");

/** File, reference page, state. */
const states = parts.flatMap((p) => Object.keys(p.told).map((state) => ({ name: `${p.folder ?? ""}${state}`, from: p.from, state })));
const named = (/** @type {string} */ name) => {
  const found = states.find((s) => s.name === name);
  if (!found) throw new Error(`no picture is called ${name}: pictures-told.mjs has their names`);
  return found;
};

/** What is drawn: the states page at half its size, for the README whole. */
const all = [
  ...states.map((s) => ({ ...s, size: "desk", scheme: "light", scale: 0.5, file: `states/${s.name}` })),
  ...more.map(([name, size, scheme]) => ({ ...named(name), size, scheme, scale: 0.5, file: `states/${name}-${scheme === "dark" ? "dark" : size}` })),
  ...readme.map(([file, name, size, scheme]) => ({ ...named(name), size, scheme, scale: 1, file })),
].filter((d) => pattern.test(d.file));

const pathOf = (/** @type {{file: string}} */ d) => new URL(`${d.file}.png`, screens).pathname;

/**
 * Draws some pictures of one size, one after another on one page.
 * @param {import("playwright-core").Browser} browser
 * @param {typeof all} some
 */
async function draw(browser, some) {
  const { size, scheme, scale } = some[0];
  const context = await browser.newContext({ viewport: sizes[size], colorScheme: scheme, deviceScaleFactor: scale, reducedMotion: "reduce" });
  const page = await context.newPage();
  const wrong = [];
  page.on("console", (m) => { if (m.type() === "error") wrong.push(m.text()); });
  page.on("pageerror", (e) => wrong.push(String(e)));
  await page.route("**/*", (route) => {
    const { pathname } = new URL(route.request().url());
    return route.fulfill({ body: readFileSync(new URL(`.${pathname}`, web)), contentType: types[extname(pathname)] ?? "text/plain" });
  });
  let at = "";
  const show = async (d) => {
    // In place where the reference page can; a body with a class of its own is loaded.
    const inPlace = at === d.from && d.state !== "record-practice" && (await page.evaluate((name) => { globalThis.showState?.(name); return Boolean(globalThis.showState); }, d.state));
    if (inPlace) return;
    await page.goto(`${origin}/page/${d.from}.html?only=${d.state}`);
    await page.getByRole("main").first().waitFor();
    at = d.state === "record-practice" ? "" : d.from;
  };
  for (const d of some) {
    await show(d);
    // A tall page gets a tall screen, so that what is fixed to its edges stays
    // there; the README shows one screen of each.
    const tall = scale < 1 ? await page.evaluate(() => document.scrollingElement.scrollHeight) : 0;
    if (tall > sizes[size].height) {
      const height = lower.includes(d.name) ? tall : Math.min(tall, tallest);
      await page.setViewportSize({ width: sizes[size].width, height });
      await settled(page);
      await show(d);
      await page.screenshot({ path: pathOf(d), clip: { x: 0, y: Math.max(0, height - tallest), width: sizes[size].width, height: Math.min(height, tallest) } });
    } else await page.screenshot({ path: pathOf(d) });
    if (tall > sizes[size].height) {
      await page.setViewportSize(sizes[size]);
      await settled(page);
    }
    if (wrong.length > 0) throw new Error(`${d.from} ${d.state}: ${wrong.join("; ")}`);
  }
  await context.close();
  // Few colours are on a page: a dozen hold its text, its lines and its red.
  execFileSync("pngquant", ["--force", "--nofs", "--strip", "--ext", ".png", scale < 1 ? "12" : "32", ...some.map(pathOf)]);
}

/** Until the page has drawn itself for the size it has now. */
const settled = (page) => page.evaluate(() => new Promise((done) => { requestAnimationFrame(() => requestAnimationFrame(done)); }));

/** Every reference page shows what is told, and tells what it shows. */
async function whole(browser) {
  const page = await browser.newPage();
  await page.route("**/*", (route) => {
    const { pathname } = new URL(route.request().url());
    return route.fulfill({ body: readFileSync(new URL(`.${pathname}`, web)), contentType: types[extname(pathname)] ?? "text/plain" });
  });
  for (const from of new Set(parts.map((p) => p.from))) {
    await page.goto(`${origin}/page/${from}.html`);
    await page.getByRole("heading").first().waitFor();
    const there = await page.evaluate(() => [...document.querySelectorAll('a[href^="?only="]')].map((a) => a.getAttribute("href").slice(6)));
    const told = states.filter((s) => s.from === from).map((s) => s.state);
    const apart = [...there.filter((s) => !told.includes(s)), ...told.filter((s) => !there.includes(s))];
    if (apart.length > 0) throw new Error(`${from}: ${apart.join(", ")}: give each state its line in pictures-told.mjs, and no other`);
  }
  await page.close();
}

/** The page with all pictures. */
function told() {
  const image = (/** @type {string} */ file, /** @type {string} */ line) => `![${line}](../tests/browser/screens/states/${file}.png)`;
  const where = { low: "800 x 480", phone: "390 x 844" };
  const out = ["# Every page, in every state", "", "Drawn from the reference pages by `node tests/browser/pictures.mjs`, at 1280 x 800 and shown at half that size. People, makers and places are invented.", ""];
  for (const p of parts) {
    out.push(`## ${p.title}`, "");
    for (const [state, line] of Object.entries(p.told)) {
      const name = `${p.folder ?? ""}${state}`;
      out.push(`\`${name}\`: ${line}`, "", image(name, line), "");
      for (const [, size, scheme] of more.filter(([n]) => n === name)) {
        const how = scheme === "dark" ? "in the dark" : `at ${where[size]}`;
        out.push(`The same ${how}.`, "", image(`${name}-${scheme === "dark" ? "dark" : size}`, `${line} ${how}`), "");
      }
    }
  }
  writeFileSync(new URL("../../console/pictures.md", import.meta.url), `${out.join("\n").trimEnd()}\n`);
}

const browser = await startBrowser();
try {
  mkdirSync(new URL("states/", screens), { recursive: true });
  await whole(browser);
  const kind = (/** @type {typeof all[0]} */ d) => `${d.size} ${d.scheme} ${d.scale}`;
  for (const one of new Set(all.map(kind))) await draw(browser, all.filter((d) => kind(d) === one));
  told();
} finally {
  await browser.close();
}
