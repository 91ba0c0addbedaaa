// SPDX-License-Identifier: Apache-2.0

// Every phrase of the pages, in the language that this page speaks. A phrase
// lives in lang/LANGUAGE/AREA.json under a key; one that depends on a number
// has a text for each plural class of its language. It must not know what a
// phrase is for.

/** @typedef {string | Partial<Record<Intl.LDMLPluralRule, string>>} Phrase */
/** @typedef {Record<string, Phrase>} Book */
/** @typedef {Record<string, string|number>} Values */
/** @typedef {Record<string, string>} Sentences */

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

/** What a language of the Wearer's page alone has: nothing else is asked for. @type {Record<string, string[]>} */
export const areasOf = { ar: ["passages", "tell", "wearer"] };

const rightToLeft = new Set(["ar"]);
const kept = "tallyhood.language";
const readAt = "/page/lang/unreviewed.json";

/** @type {Map<string, Book>} */
const books = new Map();
/** @type {Map<string, Intl.PluralRules>} */
const plurals = new Map();
let current = "en";
let reviewed = true;

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
  const wanted = [...new Set([lang, "en"])].flatMap((l) => areas.filter((area) => areasOf[l]?.includes(area) ?? true).map((area) => ({ l, area })));
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

/** Whether a speaker of this page's language has read what it says. */
export const isReviewed = () => reviewed;

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
    if (!rules) {
      rules = new Intl.PluralRules(found.lang);
      plurals.set(found.lang, rules);
    }
    text = found.phrase[rules.select(Number(values.n ?? 0))] ?? found.phrase.other ?? "";
  }
  return text.replace(/\{(\w+)\}/g, (whole, name) => {
    const v = Object.hasOwn(values, name) ? values[name] : undefined;
    return v === undefined ? whole : typeof v === "number" ? figure(v, 0, 3, found.lang) : v;
  });
}

/** @type {Map<string, Intl.NumberFormat>} */
const numbers = new Map();

/**
 * A number as the language writes it, with so many places after the point.
 * @param {number} n @param {number} [least] @param {number} [most] @param {string} [lang]
 */
export function figure(n, least = 0, most = least, lang = current) {
  const key = `${lang} ${least} ${most}`;
  let f = numbers.get(key);
  // Western digits everywhere: they are those on the box's papers and labels.
  if (!f) {
    f = new Intl.NumberFormat(lang, { minimumFractionDigits: least, maximumFractionDigits: most, useGrouping: false, numberingSystem: "latn" });
    numbers.set(key, f);
  }
  return f.format(n);
}

/** @type {Map<string, Intl.DateTimeFormat>} */
const days = new Map();

/**
 * A day, 2026-09-14, as the language writes it. English keeps it as it is: its
 * readers on two shores would take each other's days for months.
 * @param {string} on @param {string} [lang]
 */
export function dayIn(on, lang = current) {
  if (lang === "en" || !/^\d{4}-\d\d-\d\d$/.test(on)) return on;
  let f = days.get(lang);
  if (!f) {
    f = new Intl.DateTimeFormat(lang, { year: "numeric", month: "2-digit", day: "2-digit", timeZone: "UTC", numberingSystem: "latn" });
    days.set(lang, f);
  }
  const at = Date.parse(`${on}T00:00:00Z`);
  return Number.isNaN(at) ? on : f.format(at);
}

/** Keys of English phrases under a prefix, without it. @param {string} prefix */
function names(prefix) {
  const start = `${prefix}.`;
  return Object.keys(books.get("en") ?? {}).filter((k) => k.startsWith(start)).map((k) => k.slice(start.length));
}

/**
 * The phrases under a prefix as one object, each read when it is asked for: in
 * the language that the page speaks then.
 * @param {string} prefix
 * @param {string[]} [silent] names that are known and have nothing to say
 * @returns {Sentences}
 */
export function sentences(prefix, silent = []) {
  const read = (/** @type {string|symbol} */ name) => (typeof name !== "string" ? undefined : silent.includes(name) ? "" : books.get("en")?.[`${prefix}.${name}`] === undefined ? undefined : t(`${prefix}.${name}`));
  return new Proxy(/** @type {Sentences} */ ({}), {
    get: (_, name) => read(name),
    has: (_, name) => read(name) !== undefined,
    ownKeys: () => names(prefix),
    getOwnPropertyDescriptor(_, name) {
      const value = read(name);
      return value === undefined ? undefined : { value, enumerable: true, configurable: true, writable: false };
    },
  });
}

/**
 * Some named phrases under a prefix, each read when it is asked for; one that
 * nobody wrote is empty.
 * @template {string} N
 * @param {string} prefix
 * @param {readonly N[]} parts
 * @returns {Record<N, string>}
 */
export function under(prefix, parts) {
  const out = /** @type {Record<N, string>} */ ({});
  for (const part of parts) Object.defineProperty(out, part, { enumerable: true, get: () => (has(`${prefix}.${part}`) ? t(`${prefix}.${part}`) : "") });
  return out;
}

/**
 * A text that the box wrote in English, in the language of this page: the
 * English phrase under the prefix which it fits is the key. One that fits none
 * stays in English, which is better than nothing.
 * @param {string} prefix @param {string} text
 */
export const retold = (prefix, text) => (current === "en" ? text : (known(prefix, text) ?? text));

/** A phrase in English, as the box writes it. @param {string} key */
export const english = (key) => t(key, {}, "en");

/** The same as retold, and null when no phrase fits. @param {string} prefix @param {string} text */
export function known(prefix, text) {
  for (const name of names(prefix)) {
    const key = `${prefix}.${name}`;
    const phrase = books.get("en")?.[key] ?? "";
    for (const form of typeof phrase === "string" ? [phrase] : Object.values(phrase)) {
      const values = fitted(form, text);
      if (values) return t(key, values);
    }
  }
  return null;
}

/**
 * The values with which a phrase becomes a text; null when none do. The value n
 * is a number.
 * @param {string} form @param {string} text @returns {Values|null}
 */
function fitted(form, text) {
  const parts = form.split(/\{(\w+)\}/);
  const pattern = parts.map((part, i) => (i % 2 === 0 ? part.replace(/[.*+?^$()|[\]\\]/g, "\\$&") : part === "n" ? "(-?\\d[\\d.e+-]*)" : "(.+)")).join("");
  const found = new RegExp(`^${pattern}$`).exec(text);
  if (!found) return null;
  return Object.fromEntries(found.slice(1).map((v, i) => [parts[2 * i + 1] ?? "", parts[2 * i + 1] === "n" ? Number(v) : v]));
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
  await Promise.all([load(lang, areas), look(lang, areas)]);
  use(lang);
  document.documentElement.lang = lang;
  document.documentElement.dir = direction(lang);
}

/**
 * Looks whether a speaker has read these areas of a language. When that cannot
 * be read, nobody is said to have.
 * @param {string} lang @param {string[]} areas
 */
async function look(lang, areas) {
  if (lang === "en") return;
  reviewed = false;
  try {
    const open = /** @type {Record<string, string[]>} */ (await (await fetch(readAt)).json())[lang] ?? [];
    reviewed = !areas.some((a) => open.includes(a));
  } catch {
    // It stays said.
  }
}

/** Keeps a choice on this screen and loads the page anew. @param {string} lang */
export function choose(lang) {
  const to = new URL(location.href);
  try {
    localStorage.setItem(kept, lang);
    to.searchParams.delete("lang");
  } catch {
    to.searchParams.set("lang", lang); // then it holds for this load alone
  }
  location.assign(to);
}

/**
 * Names as a list: "one, another and a third".
 * @param {string[]} names @param {string} [lang]
 */
export function listOf(names, lang = current) {
  return new Intl.ListFormat(lang === "en" ? "en-GB" : lang, { type: "conjunction" }).format(names);
}
