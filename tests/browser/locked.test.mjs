// SPDX-License-Identifier: Apache-2.0

// The page of a box whose records cannot be opened: whoever stands before it can
// read it, in every language, and try again.

import assert from "node:assert/strict";
import { after, before, test } from "node:test";
import { startLocked } from "./box.mjs";
import { accessible, openPage, picture, sizes, startBrowser } from "./browser.mjs";

let browser;
let box;
before(async () => { [browser, box] = await Promise.all([startBrowser(), startLocked()]); });
after(async () => {
  await browser?.close();
  await box?.close();
});

/** What runs out sideways, and which controls are too small for a finger. */
const wrong = () => {
  const out = [];
  const over = document.scrollingElement.scrollWidth - innerWidth;
  if (over > 0) out.push(`runs out sideways by ${over} px`);
  for (const e of document.querySelectorAll("a, button, select, input")) {
    const r = e.getBoundingClientRect();
    if (r.height < 43.5 || r.width < 43.5) out.push(`${e.textContent} is ${Math.round(r.width)} x ${Math.round(r.height)} px`);
  }
  return out;
};

// WCAG 2.2, 1.4.10 and 1.4.4: 320 px wide, and a screen at twice its size.
const screens = { ...sizes, narrow: { width: 320, height: 512 }, twice: { width: 640, height: 400 } };

test("the page of locked records can be read and used by everybody", { timeout: 120_000 }, async () => {
  const page = await openPage(browser, box, "/bench", { locked: true });
  const again = page.getByRole("main").getByRole("link");
  for (const [code, title] of [["en", "The records are locked"], ["es", ""], ["fr", ""], ["pl", ""], ["pt", ""], ["ro", ""]]) {
    await page.setExtraHTTPHeaders({ "Accept-Language": code });
    await page.goto(`${box.origin}/bench`);
    await again.waitFor();
    assert.equal(await page.locator("html").getAttribute("lang"), code);
    if (title) await page.getByRole("heading", { level: 1, name: title }).waitFor();
    assert.match(await page.getByRole("main").innerText(), new RegExp(box.store.replaceAll(/[.*+?^${}()|[\]\\]/g, "\\$&")), "the file is named");
    for (const [size, viewport] of Object.entries(screens)) {
      await page.setViewportSize(viewport);
      assert.deepEqual(await page.evaluate(wrong), [], `${code}, ${size}`);
    }
    // What hangs on the size is the same in every language.
    for (const size of title ? ["desk", "low", "phone"] : ["desk"]) {
      await page.setViewportSize(sizes[size]);
      await accessible(page, `locked records, ${code}, ${size}`);
    }
    if (title) {
      await page.emulateMedia({ forcedColors: "active" });
      await accessible(page, "locked records in forced colours");
      await page.emulateMedia({ forcedColors: "none" });
    }
  }
  await page.setExtraHTTPHeaders({ "Accept-Language": "en" });
  await page.goto(`${box.origin}/bench`);
  await again.waitFor();
  await picture(page, "locked");

  // By keys alone: the way to try again is reached, seen, and taken.
  await page.setViewportSize(sizes.desk);
  await page.keyboard.press("Tab");
  const ring = await again.evaluate((e) => e === document.activeElement && getComputedStyle(e).outlineStyle !== "none" && parseFloat(getComputedStyle(e).outlineWidth) >= 2);
  assert.ok(ring, "the keyboard is to be seen on the first Tab");
  await Promise.all([page.waitForURL(`${box.origin}/`), page.keyboard.press("Enter")]);
  await again.waitFor();
  await page.done();
});
