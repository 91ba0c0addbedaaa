// SPDX-License-Identifier: Apache-2.0

// Every state of the reference pages in every language on the smallest screen:
// nothing sticks out of the screen, and no text is cut off or spills out of
// what it stands in. One page each; the language is changed in place. The pages
// are served as files: no box has a part in this.

import assert from "node:assert/strict";
import { readdir, readFile } from "node:fs/promises";
import { createServer } from "node:http";
import { extname } from "node:path";
import { after, before, test } from "node:test";
import { openStates, startBrowser } from "./browser.mjs";

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
    // However much stands above it, no control covers how a run ended, nor what prevails over it.
    const bar = document.querySelector(".foot")?.getBoundingClientRect().top ?? innerHeight;
    for (const e of document.querySelectorAll(".ended .big, .ended .prevails, .far .huge, .far .prevails, .now:not(.ended) .big small")) {
      const under = e.getBoundingClientRect().bottom - bar;
      if (under > 1) out.push(`${name}: the controls cover ${Math.round(under)} px of ${say(e)}`);
    }
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
  test(`${path}: nothing overflows in any language`, { timeout: 400_000 }, async () => {
    const { page, names } = await openStates(browser, { origin }, `${path}.html?only=${first}`, 11, { size: "low" });
    const found = [];
    for (const lang of languages) {
      await page.evaluate((l) => globalThis.speakStates(l), lang);
      for (const w of await page.evaluate(wrongOf, names)) found.push(`${lang} ${w}`);
    }
    await page.done();
    assert.equal(found.length, 0, `${found.length} findings:\n${found.slice(0, 40).join("\n")}`);
  });
}

/**
 * Text that stays as it is in every language, by why. It is taken out of what a
 * page shows; no word may be left then.
 * @type {[string, RegExp][]}
 */
const stays = [
  // Pages make these by t() before they hand them to a view; a state of the reference holds them ready-made.
  ["what a state was given ready-made", /^(A count can be corrected only while|A run is open already|Another nebuliser has this mark|C2 of .*: cleaned now|cleaning of C2|Counting the tests|dental work|Ilse Brandvold is on the list|Ilse Brandvold: substantial|job, note of|Marit Quayle is off the list|Other$|bench$|people$|rules of the house|S1 is filled|Saved: job|Searching|: 1 of 3$|That is not on this box|The box did not answer|The box is writing|The house may ask for more|The record has changed|The rules of the house|The state of the box could not be read|The two are not the same|There is no run r000999|This box does not do that|Undo: |.*\(it holds an element script\)|Writing the backup).*/g],
  ["people, as they are called", /\b(Ilse Marrow|Ilse|Brandvold|Oda Fennimore|Marit Quayle|Tomasz Okonjo|Rhodri Vance|Agnes Thorley|Bram Okafor|Iris Vane|Dr Aldous Penhallow|Brannoch (Ives|Ilesanmi)|Anders Holmlund|Noor Vasquez|Otto Tarn|zeb(edee)?|Zdzisława Wiśniewska-Błaszczykiewicz|Nachname|Vorname|Müller-Àvila, Jörg|Wójcik, Żaneta)\b/gu],
  ["facepieces: make, model, size, and the style as a person wrote it", /(Brindle|Marl & Sons|Aldous|Oxley|Corrie|Corry|Selby|Dunmore|Fellside|Half 2|Fold P3|Vista|Gill|Scree|with exhalation valve|S\/M)|\b(one size|medium|large|half mask|full face mask|silicone|two P3 filters|folded|with a valve|rubber|wide visor)\b/g],
  ["typed by a person into a field: jobs, notes, reasons, the head of a list", /\b(banker mason|saw operator|letter cutter|apprentice mason|crane driver|fixer|polisher|stone saw|Works in the saw shed on Mondays|own piece(, as worn at work)?|the wrong name was picked from the list|heard it at once|nebuliser found clogged|Personalnr|Beruf|Maske|Geburtstag|Steinmetz|Polier|Fahrer)\b|Säger/g],
  ["a recipe as it was noted with its batch", /\d[\d.]* m?g (sodium saccharin|denatonium benzoate), USP, \d+ ml .*solution\.$|\d[\d.]* m?g sodium saccharin, USP, 100 ml warm water\. .*$/g],
  ["boards and pedals by the names that somebody gave them", /\b(Bench [B-E]|harrowgate-1|Trill Foot)\b/g],
  ["a language by its own name", /\b(English|Español|español|Français|français|Polski|polski|Română|română|Português|português|Deutsch|Nederlands|italiano|lietuvių|magyar|slovenčina)|Türkçe|čeština/g],
  ["sayings for the wearer, in the wearer's language", /Hood off\. Rinse with water and wipe your lips\. When the taste has gone, tell me\. Then put your facepiece on by yourself, as you do at work, and check the seal\./g],
  ["where a rule stands", /(29 CFR )?1910\.134 App(\.|endix) A(, Part I\.B(\.\d)?)?|29 CFR|HSE INDG479 rev 1/g],
  ["files, encodings, programs, licences", /(\/[\w./-]+|\S+\.csv|utf-\d+\w*|windows-\d+|iso-\d+-\d|tallyhood( records check)?|lit-html|exit status|no space left on device|Apache License|BSD|Clause|503 Service Unavailable|404 Not Found)/g],
  ["units, kinds of files, keys of a keyboard, lines of a board", /\b(ml|mg|ms|[kMG]B|CSV|PDF|PNG|SVG|ICS|XLSX|Esc|Home|End|Shift|GPIO\d+|hw)\b/g],
  ["ids and hashes", /\b([0-9a-f]{64}|neb-\w+|[kr][0-9a-z]{6,}|1a2b:3c4d)\b/g],
];

/** Every letter of the pages' own phrases as a wide one: what stays narrow came from elsewhere. Run inside the page. */
async function widePhrases(areas) {
  const l = await import("/page/lang.js");
  const wide = (text) => text.split(/(\{\w+\})/).map((part, i) => (i % 2 ? part : part.replace(/[A-Za-z]/g, (c) => String.fromCharCode(c.charCodeAt(0) + 0xfee0)))).join("");
  for (const area of areas) {
    const book = await (await fetch(`/page/lang/en/${area}.json`)).json();
    l.put("pl", Object.fromEntries(Object.entries(book).map(([key, phrase]) => [key, typeof phrase === "string" ? wide(phrase) : Object.fromEntries(["one", "few", "many", "other"].map((c) => [c, wide(phrase.other)]))])));
  }
  l.use("pl");
}

/** Every text of each state, with what readers of screens are told. Run inside the page. */
function textsOf(names) {
  const out = [];
  for (const name of names) {
    globalThis.showState(name);
    const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
    for (let n = walk.nextNode(); n; n = walk.nextNode()) if (/[A-Za-z]{2}/.test(n.data) && !n.parentElement.matches("script, style, noscript")) out.push([name, n.data]);
    for (const e of document.querySelectorAll("[aria-label], [placeholder], [title], [alt]")) for (const a of ["aria-label", "placeholder", "title", "alt"]) if (/[A-Za-z]{2}/.test(e.getAttribute(a) ?? "")) out.push([name, e.getAttribute(a)]);
  }
  return out;
}

// A word that a page or the box says past the catalogues is found in whatever
// state it stands.
test("no state says a word past the catalogues", { timeout: 400_000 }, async () => {
  const areas = (await readdir(new URL("../../console/web/page/lang/en/", import.meta.url))).map((f) => f.replace(".json", ""));
  // The box draws charts in the language that is asked for; the sample was drawn in English.
  const drawn = new Set();
  JSON.parse(await readFile(new URL("../../console/web/page/samples-insight.json", import.meta.url), "utf8"), (_, v) => {
    if (typeof v === "string") for (const text of v.startsWith("<svg") ? v.replace(/<[^>]*>/g, "\n").split("\n") : [v]) drawn.add(text.replaceAll("&amp;", "&").replaceAll("&#39;", "'").trim());
  });
  const found = new Set();
  const used = new Set();
  let seen = 0;
  for (const [path, first] of [["states", "inputs-good"], ["states-live", "wearer-name"], ["states-office", "day"], ["states-desk", "settings"], ["states-review", "review-ready"], ["states-drill", "list"]]) {
    const { page, names } = await openStates(browser, { origin }, `${path}.html?only=${first}`, 1, { size: "low" });
    await page.evaluate(widePhrases, areas);
    seen += names.length;
    for (const [name, text] of await page.evaluate(textsOf, names)) {
      let rest = text.replace(/\s+/g, " ").trim();
      if (name.startsWith("insight") && (drawn.has(rest) || [...drawn].some((d) => d.length > 3 && rest.endsWith(d)))) continue;
      for (const [why, what] of stays) {
        const less = rest.replace(what, "");
        if (less !== rest) used.add(why);
        rest = less;
      }
      if (/[A-Za-z]{2}/.test(rest)) found.add(`${name}: “${text.trim().slice(0, 120)}”, of which “${rest.trim().slice(0, 60)}”`);
    }
    await page.done();
  }
  assert.ok(seen > 200, `${seen} states`);
  assert.equal(found.size, 0, `${found.size} texts past the catalogues; say them by t(), or say why they stay:\n${[...found].slice(0, 60).join("\n")}`);
  assert.deepEqual(stays.map(([why]) => why).filter((why) => !used.has(why)), [], "a reason that no state needs");
});
