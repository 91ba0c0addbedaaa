// SPDX-License-Identifier: Apache-2.0

// Every phrase of the pages, in the language that this page speaks. A phrase
// lives in lang/LANGUAGE/AREA.json under a key; one that depends on a number
// has a text for each plural class of its language. It must not know what a
// phrase is for.

/** @typedef {string | Partial<Record<Intl.LDMLPluralRule, string>>} Phrase */
/** @typedef {Record<string, Phrase>} Book */
/** @typedef {Record<string, string|number>} Values */

/** The languages of testers, each by its own name. */
export const languages = [
  { code: "en", name: "English" },
  { code: "es", name: "Español" },
  { code: "fr", name: "Français" },
  { code: "pl", name: "Polski" },
  { code: "ro", name: "Română" },
  { code: "pt", name: "Português" },
];

/** The languages of the Wearer's page. */
export const wearerLanguages = [...languages, { code: "ar", name: "العربية" }];

const rightToLeft = new Set(["ar"]);
const kept = "tallyhood.language";

/** @type {Map<string, Book>} */
const books = new Map();
/** @type {Map<string, Intl.PluralRules>} */
const plurals = new Map();
let current = "en";

/** @param {string} lang @param {Book} book */
export function put(lang, book) {
  books.set(lang, { ...books.get(lang), ...book });
}

/** @param {string} lang @param {string} area @returns {Promise<Book>} */
async function fetched(lang, area) {
  const answer = await fetch(`/page/lang/${lang}/${area}.json`);
  if (!answer.ok) throw new Error(`${lang}/${area}: ${answer.status}`);
  return answer.json();
}

/**
 * Reads areas of a language, and of English, which stands in for what a
 * language lacks.
 * @param {string} lang
 * @param {string[]} areas
 * @param {(lang: string, area: string) => Promise<Book>} [get]
 */
export async function load(lang, areas, get = fetched) {
  const wanted = [...new Set([lang, "en"])].flatMap((l) => areas.map((area) => ({ l, area })));
  await Promise.all(
    wanted.map(async ({ l, area }) => {
      try {
        put(l, await get(l, area));
      } catch (err) {
        if (l === "en") throw err;
      }
    }),
  );
}

/** Makes a language the one of this page. @param {string} lang */
export function use(lang) {
  current = lang;
}

/** The language of this page. */
export const spoken = () => current;

/** @param {string} lang */
export const direction = (lang) => (rightToLeft.has(lang) ? "rtl" : "ltr");

/**
 * A phrase as it is stored; null when neither the language nor English has it.
 * @param {string} key @param {string} lang @returns {{phrase: Phrase, lang: string}|null}
 */
function find(key, lang) {
  for (const l of [lang, "en"]) {
    const book = books.get(l);
    const phrase = book && Object.hasOwn(book, key) ? book[key] : undefined;
    if (phrase !== undefined) return { phrase, lang: l };
  }
  return null;
}

/** @param {string} key @param {string} [lang] */
export const has = (key, lang = current) => find(key, lang) !== null;

/**
 * A phrase with its values put in. The value n chooses the plural class. A key
 * that nobody wrote is shown as words: an empty place would be worse.
 * @param {string} key
 * @param {Values} [values]
 * @param {string} [lang]
 */
export function t(key, values = {}, lang = current) {
  const found = find(key, lang);
  if (found === null) return (key.split(".").at(-1) ?? key).replaceAll("_", " ");
  let text = "";
  if (typeof found.phrase === "string") text = found.phrase;
  else {
    let rules = plurals.get(found.lang);
    if (!rules) plurals.set(found.lang, (rules = new Intl.PluralRules(found.lang)));
    text = found.phrase[rules.select(Number(values.n ?? 0))] ?? found.phrase.other ?? "";
  }
  return text.replace(/\{(\w+)\}/g, (whole, name) => (Object.hasOwn(values, name) ? String(values[name]) : whole));
}

/**
 * What a page does first: its language, from the address, else as chosen
 * before on this screen, else English.
 * @param {string[]} areas
 * @param {{code: string}[]} [among]
 */
export async function speak(areas, among = languages) {
  let lang = new URLSearchParams(location.search).get("lang") ?? "";
  try {
    lang ||= localStorage.getItem(kept) ?? "";
  } catch {
    // A browser that keeps nothing starts in English each time.
  }
  if (!among.some((l) => l.code === lang)) lang = "en";
  await load(lang, areas);
  use(lang);
  document.documentElement.lang = lang;
  document.documentElement.dir = direction(lang);
}

/** Keeps a choice on this screen and loads the page anew. @param {string} lang */
export function choose(lang) {
  try {
    localStorage.setItem(kept, lang);
  } catch {
    // Then it holds for this load alone.
  }
  const to = new URL(location.href);
  to.searchParams.set("lang", lang);
  location.assign(to);
}
