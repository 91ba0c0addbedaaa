// SPDX-License-Identifier: Apache-2.0

// Whoever works with keys, ears, large print, strong colours or thick gloves:
// every state of every page, and a whole run without a pointer.

import assert from "node:assert/strict";
import { createRequire } from "node:module";
import { after, before, test } from "node:test";
import { sleep, startBox, withBox } from "./box.mjs";
import { openPage, openStates, sizes, startBrowser, statesReady } from "./browser.mjs";
import * as t from "./tester.mjs";

const require = createRequire(new URL("../../.ci/package.json", import.meta.url));
const axe = require("axe-core");

let browser;
let box; // for the pages of states alone
before(async () => { [browser, box] = await Promise.all([startBrowser(), startBox()]); });
after(async () => {
  await browser?.close();
  await box?.close();
});

/** A page of states, loaded once, and how many states it has at least. */
const pages = [["states", 80], ["states-live", 50], ["states-office", 35], ["states-desk", 45], ["states-review", 14], ["states-drill", 10]];

/** Loads a page of states with one of them alone, so that a change of size draws nothing but that. */
async function load(path, least) {
  const { page, names } = await openStates(browser, box, `${path}.html?only=none`, least);
  await page.goto(`${box.origin}/page/${path}.html?only=${names[0]}`);
  await statesReady(page);
  await page.evaluate(axe.source);
  return page;
}

/**
 * Looks at every state of a page in place.
 * @param {any} page
 * @param {(name: string, arg: any) => any} look runs in the page
 * @param {any} [arg]
 * @returns {Promise<string[]>} findings, each with its state
 */
async function every(page, look, arg) {
  return page.evaluate(`(async () => {
    const look = ${look};
    const out = [];
    for (const name of window.stateNames) {
      window.showState(name);
      for (const f of (await look(name, ${JSON.stringify(arg ?? null)})) ?? []) out.push(name + ": " + f);
    }
    return out;
  })()`);
}

// What of axe depends on theme or size is looked at twice, the rest once. Sizes
// of controls are measured below, more strictly.
const looks = [
  { size: "desk", scheme: "light", rules: null },
  { size: "low", scheme: "dark", rules: ["color-contrast", "scrollable-region-focusable"] },
];

const audit = async (_name, rules) => {
  const found = await window.axe.run(document, {
    ...(rules ? { runOnly: { type: "rule", values: rules } } : {}), resultTypes: ["violations"], preload: false,
  });
  return found.violations.map((v) => `${v.id} ${v.nodes.slice(0, 2).map((n) => `${n.target} ${n.any[0]?.message ?? n.failureSummary}`).join(" | ")}`);
};

// WCAG 2.2, 2.5.8 asks for 24 CSS px and lets links within text be; gloves need
// more, so the controls of a run have 64 (the project's own figure).
const small = (name, { run }) => {
  const out = [];
  const runs = run && /^(bench|wearer)-/.test(name);
  for (const el of document.querySelectorAll("button, select, input, summary, a, .option span")) {
    const label = el.matches("input[type=radio], input[type=checkbox]");
    const r = el.getBoundingClientRect();
    if (label || r.width === 0 || el.closest("p, li, dd, td, th") && el.matches("a")) continue;
    // Pages, the language and the contacts of a board that is none are no controls of a run.
    const least = runs && !el.closest("nav, .contacts, .prevails") && !el.matches("a") ? 64 : 24;
    if (r.height < least - 0.5 || r.width < Math.min(least, 44) - 0.5) out.push(`${el.innerText || el.name} is ${Math.round(r.width)} x ${Math.round(r.height)} px, of ${least}`);
  }
  return out;
};

// Twice its size: nothing runs out sideways, and every control comes into sight
// and can be pressed there.
const reachable = (_name) => {
  const out = [];
  const e = document.scrollingElement;
  if (e.scrollWidth > innerWidth + 1) {
    const wide = [...document.querySelectorAll("main *")].filter((x) => x.getBoundingClientRect().right > innerWidth + 1 && !x.closest(".scroll, svg")).slice(0, 3);
    out.push(`runs out sideways by ${e.scrollWidth - innerWidth} px: ${wide.map((x) => `${x.tagName}.${x.className}`)}`);
  }
  for (const el of document.querySelectorAll("button:not(:disabled), select:not(:disabled), a, .big span, .huge, h1:not(.quiet)")) {
    if (el.getClientRects().length === 0 || el.closest(".quiet")) continue;
    el.scrollIntoView({ block: "center", inline: "nearest", behavior: "instant" });
    const r = el.getBoundingClientRect();
    if (r.width === 0) continue;
    const at = document.elementFromPoint(Math.min(innerWidth - 1, Math.max(0, r.left + Math.min(r.width, innerWidth) / 2)), r.top + Math.min(r.height, innerHeight) / 2);
    const own = at && (el.contains(at) || at.contains(el) || at.closest("label, .option") !== null);
    if (!own && !at?.closest("dialog, .keys")) out.push(`${el.innerText.slice(0, 30)} (${el.tagName}) is under ${at?.tagName}.${at?.className} at ${Math.round(r.left)},${Math.round(r.top)}`);
  }
  return out;
};

// WCAG 2.2, 1.4.6: 7:1, and 4.5:1 for large text; the number and the verdict
// have 7:1 all the same while they are current.
const strong = (_name) => {
  const parse = (c) => (c.match(/[\d.]+/g) ?? []).map(Number);
  const lum = ([r, g, b]) => [r, g, b].map((v) => v / 255).map((v) => (v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4)).reduce((s, v, i) => s + v * [0.2126, 0.7152, 0.0722][i], 0);
  const out = [];
  for (const el of document.querySelectorAll(".big span, .huge, .board-now b")) {
    if (el.textContent.trim() === "") continue;
    let back = [255, 255, 255, 0];
    let seen = 1;
    for (let up = el; up; up = up.parentElement) {
      const s = getComputedStyle(up);
      seen *= Number(s.opacity);
      const b = parse(s.backgroundColor);
      if (back[3] === 0 && (b.length === 3 || b[3] > 0)) back = [b[0], b[1], b[2], 1];
    }
    const ink = parse(getComputedStyle(el).color).slice(0, 3).map((v, i) => v * seen + back[i] * (1 - seen));
    const [hi, lo] = [lum(ink), lum(back)].sort((a, b) => b - a);
    const ratio = (hi + 0.05) / (lo + 0.05);
    if (ratio < (seen < 1 ? 4.5 : 7)) out.push(`${el.textContent.trim()} has ${ratio.toFixed(1)}:1`);
  }
  return out;
};

// In the colours of the person's own system: pips and ring still differ by shape and fill.
const forced = (_name) => {
  const out = [];
  const style = (q) => { const el = document.querySelector(q); return el ? getComputedStyle(el) : null; };
  const [given, due, extra] = [".pip.given", ".pip.due", ".pip.extra"].map(style);
  const paper = getComputedStyle(document.body).backgroundColor;
  if (given && given.backgroundColor === paper) out.push("a pip given looks empty");
  if (due && given && due.backgroundColor === given.backgroundColor) out.push("a pip due looks given");
  if (due && (due.borderTopColor === paper || parseFloat(due.borderTopWidth) < 1.5)) out.push("a pip due is not to be seen");
  if (extra && extra.transform === "none") out.push("an extra pip looks like a pip given");
  for (const q of [".s-pip", ".s-cross", ".s-hand", ".s-axis", ".s-edge", ".s-level", ".tick", ".fig path", ".w-blade", ".r-span", ".r-edge", ".r-moment", ".r-hand"]) {
    const s = style(q);
    if (s && (s.stroke === paper || s.stroke === "none")) out.push(`${q} is not to be seen`);
  }
  for (const [q, pen] of [[".big span", "color"], [".board-now b", "color"], [".s-mark", "fill"], [".r-verdict", "fill"]]) {
    if (style(q)?.[pen] === paper) out.push(`${q} is not to be seen`);
  }
  const [late, other] = [style(".r-moment:is(.r-kind-late, .r-kind-fault)"), style(".r-moment:not(.r-kind-late, .r-kind-fault)")];
  if (late && other && late.fill === other.fill) out.push("a moment that matters looks like the others");
  const [here, away] = [style(".moment[aria-current]"), style(".moment:not([aria-current])")];
  if (here && away && here.borderLeftColor === away.borderLeftColor) out.push("the moment that is shown looks like the others");
  const [chosen, left] = [style(".option input:checked + span"), style(".option input:not(:checked) + span")];
  if (chosen && left && chosen.borderTopWidth === left.borderTopWidth) out.push("what is chosen looks like what is not");
  const [full, open] = [style(".s-pip-given"), style(".s-pip:not(.s-pip-given)")];
  if (full && open && full.fill === open.fill) out.push("a pip given looks due on the strip");
  const [tick, gone] = [style(".tick:not(.gone)"), style(".tick.gone")];
  if (tick && gone && tick.strokeWidth === gone.strokeWidth && tick.opacity === gone.opacity && tick.strokeDasharray === gone.strokeDasharray) out.push("a tick gone looks like one to come");
  return out;
};

// The question for the name stands apart from the line above it, with its answers beside it.
const airy = (_name) => {
  const box = (q) => document.querySelector(q)?.getBoundingClientRect();
  const [named, above, ask, answers] = [".asked.named", ".now .big", ".asked.named h2", ".asked.named .answers"].map(box);
  if (!named || !above || !ask || !answers) return [];
  const out = [];
  if (named.top - above.bottom < 20) out.push(`the question is ${Math.round(named.top - above.bottom)} px under the time`);
  if (answers.top >= ask.bottom || answers.left - ask.right > 40) out.push("the answers are away from their question");
  return out;
};

const still = (_name) => {
  const moving = document.getAnimations().filter((a) => a.playState === "running").map((a) => `${a.animationName ?? a.transitionProperty} moves`);
  const smooth = [...document.querySelectorAll("*")].filter((e) => getComputedStyle(e).scrollBehavior === "smooth").map((e) => `${e.className} scrolls smoothly`);
  return [...new Set([...moving, ...smooth])];
};

test("every state can be read and used by everybody", { concurrency: 2, timeout: 600_000 }, (ctx) => Promise.all(pages.map(([path, most]) =>
  ctx.test(path, async () => {
    const found = [];
    const page = await load(path, most);
    const see = async (what, look, arg) => { for (const f of await every(page, look, arg)) found.push(`${what}, ${f}`); };
    for (const { size, scheme, rules } of looks) {
      await page.setViewportSize(sizes[size]);
      await page.emulateMedia({ colorScheme: scheme });
      await see(`${size} ${scheme}`, audit, rules);
    }
    for (const [size, viewport] of Object.entries(sizes)) {
      await page.setViewportSize(viewport);
      await see(size, small, { run: path === "states" || path === "states-live" });
    }
    for (const colorScheme of ["light", "dark"]) {
      await page.emulateMedia({ colorScheme });
      await see(colorScheme, strong);
      await page.emulateMedia({ colorScheme, forcedColors: "active" });
      await see(`forced colours, ${colorScheme}`, forced);
      await page.emulateMedia({ colorScheme: "light", forcedColors: "none" });
    }
    await page.setViewportSize(sizes.desk);
    await see("desk", airy);
    await see("reduced motion", still);
    await page.setViewportSize(sizes.phone);
    await see("phone", reachable);
    await page.setViewportSize({ width: 640, height: 400 }); // 1280 x 800 at 200 %
    await see("at 200 %", reachable);
    await page.setViewportSize({ width: 320, height: 512 }); // WCAG 2.2, 1.4.10: 320 px wide
    await see("320 px wide", reachable);
    await page.done();
    assert.deepEqual(found, []);
  }))));

/**
 * A tester without a pointer: Tab to a control by its name, and Enter.
 * @param {any} page
 */
function keysOnly(page) {
  const at = () => page.evaluate(() => {
    const el = document.activeElement;
    if (!el || el === document.body) return null;
    const s = getComputedStyle(el.matches("input[type=radio]") ? (el.nextElementSibling ?? el) : el);
    const words = el.matches("button, a") ? el.innerText : `${el.labels?.[0]?.innerText ?? ""} ${el.getAttribute("aria-label") ?? ""}`;
    return { tag: el.tagName, words: words.replaceAll("\n", " ").trim(), ring: s.outlineStyle !== "none" && parseFloat(s.outlineWidth) >= 2, off: el.disabled === true };
  });
  return {
    at,
    /** Tab, until the control is reached whose words begin so. */
    async to(words) {
      for (let n = 0; n < 90; n++) {
        const here = await at();
        if (here?.words.match(words) && !here.off) {
          assert.ok(here.ring, `the keyboard at ${here.words} is to be seen`);
          return here;
        }
        await page.keyboard.press("Tab");
      }
      throw new Error(`no key leads to ${words}`);
    },
    async press(words) {
      await this.to(words);
      await page.keyboard.press("Enter");
    },
    /** The keyboard is on something after a redraw. */
    async kept(where) {
      await t.until(`the keyboard to be somewhere, ${where}`, async () => (await at()) !== null);
    },
  };
}

const speed = 25;
/** A reader speaks 15 signs a second or more: common practice, no source. */
const signsPerSecond = 15;

test("a whole run by keys alone, and little to hear: one announcement for each step", { timeout: 300_000 }, () => withBox(async (box) => {
  const eyes = await t.openEyes(browser, box);
  const page = await openPage(browser, box, "/bench");
  const k = keysOnly(page);
  await page.getByLabel("Person").waitFor();
  await t.takeOver(page);

  // What a screen reader is told, and when.
  await page.evaluate(() => {
    window.told = [];
    const live = "[aria-live]:not([aria-live=off]), [role=status], [role=alert], [role=log]";
    const were = new Map();
    const look = () => {
      for (const el of document.querySelectorAll(live)) {
        const text = el.textContent.replace(/\s+/g, " ").trim();
        const was = were.get(el);
        were.set(el, text);
        // A region that another view brings along says nothing that stands already.
        if (text && text !== was && !(was === undefined && window.told.at(-1)?.text === text)) window.told.push({ at: performance.now(), text });
      }
    };
    look();
    window.told = [];
    new MutationObserver(look).observe(document.body, { subtree: true, childList: true, characterData: true, attributes: true });
  });

  for (const [list, letters] of [["Person", t.usual.person], ["Facepiece", t.usual.facepiece.slice(0, 20)]]) {
    await k.to(new RegExp(`^${list}`));
    await page.keyboard.type(letters, { delay: 5 });
  }
  for (const [group, name] of [["rules", t.usual.rules], ["agent", t.usual.agent]]) {
    for (let n = 0; n < 60 && (await page.evaluate(() => document.activeElement?.getAttribute("name"))) !== group; n++) await page.keyboard.press("Tab");
    const chosen = () => page.evaluate(() => { const e = document.activeElement; return e?.checked ? e.labels[0].innerText : ""; });
    await page.keyboard.press("Space");
    for (let n = 0; n < 6 && !(await chosen()).match(new RegExp(name, "i")); n++) await page.keyboard.press("ArrowDown");
    assert.match(await chosen(), new RegExp(name, "i"), "arrows choose");
  }
  await k.to(/^Tester/);
  await page.keyboard.type(t.usual.tester, { delay: 5 });
  await k.press(/^Open the run/);
  await eyes.see("the run to be open", (r) => r.stage === "ready");
  await k.kept("after the run was opened");

  // The list of keys holds nobody: it is left by Tab and by Escape.
  await page.keyboard.press("?");
  await page.getByRole("complementary", { name: "Keys" }).waitFor();
  let out = false;
  for (let n = 0; n < 60 && !out; n++) {
    await page.keyboard.press("Tab");
    // After the last control comes the browser's own, then the first again.
    out = await page.evaluate(() => document.activeElement !== document.body && document.activeElement?.closest(".keys") === null);
  }
  assert.ok(out, "Tab leads out of the list of keys");
  await page.keyboard.press("Escape");
  await k.kept("after the list of keys");

  const open = page.getByRole("region", { name: "Questions before the test" }).locator("[aria-pressed=false]");
  for (let n = await open.count(); n > 0; n--) {
    await k.to(/not asked/i);
    await page.keyboard.press("Enter");
    await t.until("an answer", async () => (await open.count()) < n);
    await k.kept("after an answer");
  }
  await k.press(/^30 min/);
  await eyes.see("nothing in the way", (r) => r.blocked === "");
  await k.press(/^Go on/);
  await eyes.see("the sensitivity test", (r) => r.stage === "screening");
  await k.kept("in the sensitivity test");
  await t.squeezeTo(box, eyes, 7, t.screened);
  await box.report();
  await eyes.see("the bin", (r) => r.stage === "clearing");
  await sleep(5000 / speed);
  await k.press(/^Go on/);
  await eyes.see("donning", (r) => r.stage === "donning");
  await k.kept("when Go on is switched off under the finger");

  await page.keyboard.press("d");
  await page.getByRole("main", { name: "Distance view" }).waitFor();
  await k.kept("in the distance view");
  await eyes.see("the facepiece worn long enough", (r) => r.stage === "donning" && r.blocked === "", 40_000);
  await k.press(/^Back/);
  await k.kept("back at the Bench");
  await k.press(/^Go on/);
  await eyes.see("the initial dose", (r) => r.stage === "dosing");
  await k.kept("at the initial dose");
  await t.toRunning(box, eyes);
  await k.kept("when the clock runs");
  await k.to(/^Stop now/);
  await t.keepGiving(box, eyes);
  await t.verdict(page, /Pass/);
  await k.kept("at the verdict");
  const told = await page.evaluate(() => window.told);
  await k.press(/^Next run/);
  await page.getByRole("button", { name: "Open the run" }).waitFor();
  await k.kept("at the next run");

  // Of the stages, the seven exercises and the verdict each is said, and not much else.
  const text = told.map((x) => x.text);
  for (const [word, times] of [
    [/^Sensitivity/, 1], [/^Clear/, 1], [/^Wear it/, 2], [/^Initial dose/, 1], [/^Normal breathing\./, 1], [/^Deep breathing/, 1], [/^Head side to side/, 1], [/^Head up and down/, 1],
    [/^Talking/, 1], [/^Bending/, 1], [/^Normal breathing again/, 1], [/^Passed/, 1],
  ]) assert.equal(text.filter((x) => word.test(x)).length, times, `${word}: ${JSON.stringify(text)}`);
  assert.ok(told.length <= 20, `${told.length} announcements: ${JSON.stringify(text)}`);
  for (const x of text) assert.doesNotMatch(x, /squeezes? (still )?due|\d+ of \d+/i, "no squeeze is called out");
  // From the clock's start on, the person has not a hand in it: nothing cuts what is being said.
  const from = told.findIndex((x) => /^Normal breathing/.test(x.text));
  for (let i = from; i + 1 < told.length; i++) {
    const s = ((told[i + 1].at - told[i].at) * speed) / 1000;
    assert.ok(s >= told[i].text.length / signsPerSecond, `"${told[i].text}" is cut after ${s.toFixed(1)} s by "${told[i + 1].text}"`);
  }
  await page.done();
  await eyes.close();
}, { speed }));
