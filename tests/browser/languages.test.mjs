// SPDX-License-Identifier: Apache-2.0

// Every state of the reference pages in every language on the smallest screen:
// nothing sticks out of the screen, and no text is cut off or spills out of
// what it stands in. One page each; the language is changed in place. The pages
// are served as files: no box has a part in this.

import assert from "node:assert/strict";
import { readFile } from "node:fs/promises";
import { createServer } from "node:http";
import { extname } from "node:path";
import { after, before, test } from "node:test";
import { openPage, startBrowser } from "./browser.mjs";

const types = { ".html": "text/html", ".js": "text/javascript", ".css": "text/css", ".json": "application/json", ".svg": "image/svg+xml" };
const files = createServer(async (request, answer) => {
  const { pathname } = new URL(request.url, "http://127.0.0.1");
  if (pathname.endsWith("/code.svg")) { // the square code of a proof, which a box would draw
    answer.setHeader("Content-Type", types[".svg"]);
    answer.end('<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 1 1"/>');
    return;
  }
  try {
    const body = await readFile(new URL(`../../console/web${pathname}`, import.meta.url));
    answer.setHeader("Content-Type", types[extname(pathname)] ?? "text/plain");
    answer.end(body);
  } catch {
    answer.statusCode = 404;
    answer.end();
  }
});

let browser;
let origin = "";
before(async () => {
  await new Promise((ready) => files.listen(0, "127.0.0.1", ready));
  origin = `http://127.0.0.1:${files.address().port}`;
  browser = await startBrowser();
});
after(async () => {
  await browser?.close();
  files.close();
});

const languages = ["en", "es", "fr", "pl", "ro", "pt"];

/** What is wrong with each state: run inside the page. */
function wrongOf(names) {
  const out = [];
  const scrolls = (e) => {
    for (let p = e; p && p !== document.documentElement; p = p.parentElement) if (/auto|scroll/.test(getComputedStyle(p).overflowX)) return true;
    return false;
  };
  const say = (e) => `${e.tagName.toLowerCase()}${e.className ? `.${String(e.className).split(" ").join(".")}` : ""} “${(e.innerText ?? "").trim().slice(0, 40)}”`;
  for (const name of names) {
    globalThis.showState(name);
    const across = document.scrollingElement.scrollWidth - innerWidth;
    if (across > 0) out.push(`${name}: the page scrolls ${across} px to the side`);
    for (const e of document.querySelectorAll("main *, header *, nav *, .sheet *")) {
      if (!(e instanceof HTMLElement) || e.closest("svg, .quiet, datalist, option")) continue;
      const r = e.getBoundingClientRect();
      if (r.width <= 1 || r.height <= 1) continue; // not shown, or for readers of screens alone
      if (e.matches("a, button, input, select, textarea, summary") && (r.left < -1 || r.right > innerWidth + 1) && !scrolls(e)) out.push(`${name}: off the screen: ${say(e)}`);
      if (e.matches("input, select, textarea") || ![...e.childNodes].some((n) => n.nodeType === Node.TEXT_NODE && n.textContent.trim() !== "")) continue;
      const over = e.clientWidth > 0 ? e.scrollWidth - e.clientWidth : 0;
      const below = e.scrollHeight - e.clientHeight;
      if (over <= 1 && below <= 2) continue;
      const style = getComputedStyle(e); // asked for the few alone: it is what takes long
      if (style.display === "inline" || scrolls(e)) continue;
      if (over > 1) out.push(`${name}: text wider by ${over} px: ${say(e)}`);
      if (below > 2 && style.overflowY === "hidden") out.push(`${name}: text cut off below: ${say(e)}`);
    }
  }
  return out;
}

for (const [path, first] of [["states", "inputs-good"], ["states-office", "day"], ["states-desk", "settings"], ["states-drill", "list"]]) {
  test(`${path}: nothing overflows in any language`, { timeout: 240_000 }, async () => {
    const page = await openPage(browser, { origin }, `/page/${path}.html?only=${first}`, { size: "low" });
    await page.waitForFunction(() => globalThis.stateNames?.length > 0, null, { timeout: 30_000 });
    const names = await page.evaluate(() => globalThis.stateNames);
    assert.ok(names.length > 10);
    const found = [];
    for (const lang of languages) {
      await page.evaluate((l) => globalThis.speakStates(l), lang);
      for (const w of await page.evaluate(wrongOf, names)) found.push(`${lang} ${w}`);
    }
    await page.done();
    assert.equal(found.length, 0, `${found.length} findings:\n${found.slice(0, 40).join("\n")}`);
  });
}
