// SPDX-License-Identifier: Apache-2.0

// The catalogues as they lie on the disk, for tests: importing this makes every
// English phrase known.

import { readdirSync, readFileSync } from "node:fs";
import { load } from "../lang.js";

const here = new URL("./", import.meta.url);

/** Codes of the languages that there are. */
export const codes = readdirSync(here, { withFileTypes: true }).filter((e) => e.isDirectory()).map((e) => e.name).sort();

/** Areas of a language. @param {string} lang */
export const areas = (lang) => readdirSync(new URL(`${lang}/`, here)).filter((f) => f.endsWith(".json")).map((f) => f.slice(0, -5)).sort();

/** One catalogue. @param {string} lang @param {string} area @returns {Record<string, any>} */
export const catalogue = (lang, area) => JSON.parse(readFileSync(new URL(`${lang}/${area}.json`, here), "utf8"));

/** Makes a language known. @param {string} lang */
export const learn = (lang) => load(lang, areas("en"), async (l, area) => catalogue(l, area));

await learn("en");
