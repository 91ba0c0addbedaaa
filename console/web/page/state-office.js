// SPDX-License-Identifier: Apache-2.0

// What the pages of the job around the runs are drawn from: pure. Days are
// written 2026-09-14; the day of today comes from outside.

import { ApiError } from "./api.js";
import { dayIn, figure, known, retold, t } from "./lang.js";
import { dueWhys, kinds, refusals } from "./words-office.js";
import { agents, lookUp, ruleName, whys } from "./words.js";

/** @typedef {import("./api.js").Person} Person */
/** @typedef {import("./api.js").Due} Due */
/** @typedef {import("./api.js").Nebuliser} Nebuliser */
/** @typedef {import("./api.js").Solution} Solution */
/** @typedef {import("./strip.js").Shape} Shape */

/** Sorts before every day: due already. */
export const dueNow = "0000-00-00";
/** A test that is due in fewer days is due soon. */
export const soonDays = 30;

const dayMs = 86_400_000;

/** The day of an instant where this screen stands. @param {number} ms */
export function day(ms) {
  const d = new Date(ms);
  return `${d.getFullYear()}-${String(d.getMonth() + 1).padStart(2, "0")}-${String(d.getDate()).padStart(2, "0")}`;
}

/** @param {string} from @param {number} days */
export function addDays(from, days) {
  return new Date(Date.parse(`${from}T00:00:00Z`) + days * dayMs).toISOString().slice(0, 10);
}

/** Whole days from one day to another. @param {string} from @param {string} to */
export function daysBetween(from, to) {
  return Math.round((Date.parse(`${to}T00:00:00Z`) - Date.parse(`${from}T00:00:00Z`)) / dayMs);
}

/** An error in words. @param {unknown} err */
export function inWords(err) {
  if (!(err instanceof ApiError)) return t("office.page_wrong", { why: err instanceof Error ? err.message : String(err) });
  const more = err.message ? `${err.message[0]?.toUpperCase()}${err.message.slice(1).replace(/\.$/, "")}.` : "";
  const known = Object.hasOwn(refusals, err.why) ? refusals[err.why] : Object.hasOwn(whys, err.why) ? whys[err.why] : undefined;
  if (err.status === 0) return refusals.no_answer ?? "";
  if (known) return known.endsWith(":") ? `${known} ${detailShown(err.message.replace(/\.$/, ""))}.` : known;
  if (err.status === 404) return `${t("office.not_here")} ${more}`.trim();
  return more || t("office.refused_why");
}

/** What a person is called: the name, else the number. @param {{id?: string, name: string, number: string}} p */
export function called(p) {
  return p.name || (p.number ? t("office.number_short", { number: p.number }) : (p.id ?? ""));
}

/** A model in words. @param {{make: string, model: string, size: string}} f */
export function modelOf(f) {
  return [f.make, f.model, f.size].filter(Boolean).join(" ");
}

/** @param {import("./api.js").Facepiece[]} all @param {string} id */
export function labelOf(all, id) {
  const f = all.find((x) => x.id === id);
  return f ? modelOf(f) : id;
}

/**
 * How a due day stands: a shape, a word, and its rank, worst first.
 * @typedef {{pip: "given"|"half"|"cross"|"off", word: string, key: "now"|"late"|"soon"|"good"|"none"|"left"}} Standing
 */

/** @param {string} on @param {string} today @returns {Standing} */
export function standing(on, today) {
  if (on === dueNow) return { pip: "cross", word: t("office.due_now"), key: "now" };
  const days = daysBetween(today, on);
  if (days < 0) return { pip: "cross", word: t("office.overdue", { n: -days }), key: "late" };
  if (days === 0) return { pip: "cross", word: t("office.due_today"), key: "now" };
  if (days < soonDays) return { pip: "half", word: t("office.due_in", { n: days }), key: "soon" };
  return { pip: "given", word: t("office.good_until", { day: dayIn(on) }), key: "good" };
}

/** How a person stands: what is due first. @param {Pick<Person, "left"|"facepieces"|"due">} p @param {string} today @returns {Standing} */
export function personStanding(p, today) {
  if (p.left) return { pip: "off", word: t("office.left_on", { day: dayIn(p.left) }), key: "left" };
  if (p.facepieces.length === 0) return { pip: "off", word: t("office.no_facepiece"), key: "none" };
  const first = firstDue(p);
  return first ? standing(first.on, today) : { pip: "given", word: t("office.no_further"), key: "good" };
}

/** @param {Pick<Person, "due">} p */
export function firstDue(p) {
  return [...p.due].sort((a, b) => (a.on < b.on ? -1 : a.on > b.on ? 1 : 0))[0];
}

/**
 * The one sentence of a person's page.
 * @param {Person} p @param {string} today @param {(id: string) => string} label
 */
export function personSentence(p, today, label) {
  if (p.left) return t("office.say.left", { day: dayIn(p.left) });
  if (p.facepieces.length === 0) return t("office.say.name_one");
  const d = firstDue(p);
  const unclear = p.cleared ? "" : ` ${t("office.say.no_clearance")}`;
  if (!d) return `${t("office.say.tested")}${unclear}`;
  const s = standing(d.on, today);
  const why = lookUp(dueWhys, d.why);
  if (s.key === "good") return `${t("office.say.good", { day: dayIn(d.on) })}${unclear}`;
  return `${t("office.say.due", { standing: `${s.word[0]?.toUpperCase()}${s.word.slice(1)}`, facepiece: label(d.facepiece), why })}${unclear}`;
}

/**
 * A person's year with one facepiece: the pass as a filled pip, what it is good
 * for as a line, the due day as a ring, crossed when it is over, and today.
 * A year lies before today and a year after it.
 * @param {string} today @param {string} passed the day, or empty @param {string} due the day, dueNow or empty
 * @returns {Shape[]}
 */
export function yearLine(today, passed, due) {
  const width = 300;
  const base = 24;
  const span = 366;
  const x = (/** @type {string} */ on) => Math.round((150 + (Math.max(-span, Math.min(span, daysBetween(today, on))) / span) * 140) * 10) / 10;
  /** @type {Shape[]} */
  const out = [];
  /** @param {Shape["tag"]} tag @param {string} cls @param {Record<string, number|string>} at */
  const put = (tag, cls, at) => out.push({ tag, cls, at });
  put("line", "y-axis", { x1: 10, x2: width - 10, y1: base, y2: base });
  const [year = 0, month = 1] = today.split("-").map(Number);
  for (let m = -12; m <= 12; m++) {
    const first = new Date(Date.UTC(year, month - 1 + m, 1)).toISOString().slice(0, 10);
    if (Math.abs(daysBetween(today, first)) > span) continue;
    const january = first.slice(5, 7) === "01";
    put("line", january ? "y-year" : "y-month", { x1: x(first), x2: x(first), y1: base, y2: base - (january ? 20 : 5) });
  }
  const over = due !== "" && (due === dueNow || due <= today);
  const at = due === dueNow ? today : due;
  if (passed && due && x(at) > x(passed)) put("line", over ? "y-lapsed" : "y-good", { x1: x(passed), x2: x(at), y1: 13, y2: 13 });
  put("line", "y-now", { x1: x(today), x2: x(today), y1: 2, y2: base + 3 });
  put("path", "y-foot", { d: `M${x(today) - 6} ${base + 11}l6 -8l6 8z` });
  if (passed) put("circle", "y-pip y-given", { cx: x(passed), cy: 13, r: 6 });
  if (due) {
    const cx = x(at);
    put("circle", "y-pip", { cx, cy: 13, r: 6 });
    if (over) put("path", "y-cross", { d: `M${cx - 7} 6l14 14m0 -14l-14 14` });
  }
  return out;
}

/** A figure of whole hours and minutes, rounded down. @param {number} s */
export function hours(s) {
  const m = Math.max(0, Math.floor(s / 60));
  return `${Math.floor(m / 60)}:${String(m % 60).padStart(2, "0")}`;
}

/** The clock time of an instant, as it was stored. @param {string} rfc3339 */
export function clockOf(rfc3339) {
  return /T(\d\d:\d\d)/.exec(rfc3339)?.[1] ?? "";
}

const warnS = 15 * 60;
export const refillS = 4 * 3600;

/**
 * How a nebuliser stands, so long after it was asked for.
 * @typedef {{key: "empty"|"unknown"|"stale"|"warn"|"unseen"|"clogged"|"good", left: string, word: string, sentence: string, leftS: number}} NebuliserShown
 */

/** @param {Nebuliser} n @param {number} ageMs @returns {NebuliserShown} */
export function nebuliserShown(n, ageMs) {
  if (n.stale_in_s === null && n.filled !== "") return { key: "unknown", left: "", leftS: 0, word: t("office.neb.unknown"), sentence: t("office.neb.say.unknown", { mark: n.mark }) };
  if (n.stale_in_s === null) return { key: "empty", left: "", leftS: 0, word: t("office.neb.empty"), sentence: t("office.neb.say.empty", { mark: n.mark }) };
  const leftS = n.stale_in_s - ageMs / 1000;
  const minutes = Math.max(1, Math.floor(leftS / 60));
  const left = hours(leftS);
  const seen = n.checked !== "" && Date.parse(n.checked) >= Date.parse(n.filled);
  if (seen && !n.good) return { key: "clogged", left, leftS, word: t("office.neb.clogged"), sentence: t("office.neb.say.clogged", { mark: n.mark }) };
  if (leftS <= 0) return { key: "stale", left, leftS, word: t("office.neb.stale"), sentence: t("office.neb.say.stale", { mark: n.mark }) };
  if (leftS <= warnS) return { key: "warn", left, leftS, word: t("office.neb.warn", { n: minutes }), sentence: t("office.neb.say.warn", { mark: n.mark, n: minutes }) };
  if (!seen) return { key: "unseen", left, leftS, word: t("office.neb.unseen"), sentence: t("office.neb.say.unseen", { mark: n.mark }) };
  return { key: "good", left, leftS, word: t("office.neb.good", { time: left }), sentence: "" };
}

const order = ["unknown", "clogged", "stale", "warn", "empty", "unseen"];

/** The sentence of the page Kit: the most urgent thing. @param {import("./api.js").Kit} kit @param {number} ageMs @param {string} today */
export function kitSentence(kit, ageMs, today) {
  const used = kit.nebulisers.filter((n) => !n.gone);
  if (used.length === 0) return t("office.kit.say.none");
  const urgent = used.map((n) => nebuliserShown(n, ageMs)).filter((s) => s.sentence).sort((a, b) => order.indexOf(a.key) - order.indexOf(b.key))[0];
  if (urgent) return urgent.sentence;
  const late = kit.solutions.find((s) => !s.gone && isExpired(s, today) && used.some((n) => n.solution === s.id));
  if (late) return t("office.kit.say.late", { lot: late.lot });
  return t("office.kit.say.good");
}

/** The day of expiry is the last good one. @param {Pick<Solution, "expires"|"expired">} s @param {string} today */
export function isExpired(s, today) {
  return s.expired || (s.expires !== "" && today > s.expires);
}

/**
 * A filling's four hours: an edge at the filling, the quarter of an hour that
 * warns, a pip for the mist check, the time now.
 * @param {Nebuliser} n @param {number} ageMs
 * @returns {Shape[]}
 */
export function fillLine(n, ageMs) {
  const base = 46;
  const top = 14;
  const x = (/** @type {number} */ s) => Math.round((10 + (Math.max(0, Math.min(refillS * 1.04, s)) / refillS) * 520) * 10) / 10;
  /** @type {Shape[]} */
  const out = [];
  /** @param {Shape["tag"]} tag @param {string} cls @param {Record<string, number|string>} at @param {string} [text] */
  const put = (tag, cls, at, text) => out.push(text === undefined ? { tag, cls, at } : { tag, cls, at, text });
  const s = n.stale_in_s === null ? null : refillS - (n.stale_in_s - ageMs / 1000);
  put("rect", "n-warn", { x: x(refillS - warnS), y: top, width: x(refillS) - x(refillS - warnS), height: base - top });
  // What is left of the good time falls from full at the filling to nothing.
  if (s !== null && s < refillS) put("path", "n-rest", { d: `M${x(s)} ${base}V${Math.round(top + (Math.max(0, s) / refillS) * (base - top))}L${x(refillS)} ${base}Z` });
  put("line", "n-slope", { x1: x(0), y1: top, x2: x(refillS), y2: base });
  put("line", "n-axis", { x1: x(0), x2: x(refillS), y1: base, y2: base });
  for (let h = 0; h <= 4; h++) {
    put("line", h === 0 || h === 4 ? "n-edge" : "n-hour", { x1: x(h * 3600), x2: x(h * 3600), y1: top, y2: base });
    const at = n.filled === "" ? `${h} h` : clockAfter(n.filled, h);
    put("text", "n-time", { x: x(h * 3600), y: base + 17, "text-anchor": h === 0 ? "start" : h === 4 ? "end" : "middle" }, at);
  }
  if (s === null) return out;
  const checked = (Date.parse(n.checked) - Date.parse(n.filled)) / 1000;
  if (checked >= 0) {
    put("circle", n.good ? "y-pip y-given" : "y-pip", { cx: x(checked), cy: 34, r: 6 });
    if (!n.good) put("path", "y-cross", { d: `M${x(checked) - 7} 27l14 14m0 -14l-14 14` });
  }
  put("line", "y-now", { x1: x(s), x2: x(s), y1: 6, y2: base });
  put("path", "y-foot", { d: `M${x(s) - 7} 1h14l-7 10z` });
  return out;
}

/** @param {string} rfc3339 @param {number} h */
function clockAfter(rfc3339, h) {
  const [hh = 0, mm = 0] = clockOf(rfc3339).split(":").map(Number);
  return `${String((hh + h) % 24).padStart(2, "0")}:${String(mm).padStart(2, "0")}`;
}

/** Why a batch may not go into a nebuliser, in words; empty when it may. @param {Nebuliser} n @param {Solution} s @param {string} today */
export function fillRefused(n, s, today) {
  if (s.agent !== n.agent) return t("office.refused.agent", { is: lookUp(agents, s.agent), mark: n.mark, agent: lookUp(agents, n.agent) });
  if (s.strength !== n.role) return t(n.role === "weak" ? "office.refused.for_weak" : "office.refused.for_strong", { mark: n.mark });
  if (isExpired(s, today)) return t("office.refused.late", { day: dayIn(s.expires) });
  if (s.made > today) return t("office.refused.to_come", { day: dayIn(s.made) });
  return "";
}

/** The hood of the published procedure, in millimetres (29 CFR 1910.134, Appendix A), and how much larger is let pass where the box does not judge. */
export const hoodMM = { across: 305, tall: 356, over: 1.1 };

/** What a hood's size means, in words; warn when it thins the mist. @param {{across_mm: number, tall_mm: number, oversized?: boolean}} h */
export function hoodShown(h) {
  if (h.across_mm === 0 || h.tall_mm === 0) return { warn: false, word: t("office.hood.unmeasured"), volume: "" };
  const litres = (Math.PI * (h.across_mm / 200) ** 2 * h.tall_mm) / 100;
  const over = h.oversized ?? (h.across_mm > hoodMM.across * hoodMM.over || h.tall_mm > hoodMM.tall * hoodMM.over);
  return { warn: over, word: over ? t("office.hood.larger") : t("office.hood.allowed"), volume: `${figure(litres, 1)} l` };
}

/** The number of a row of the preview as a spreadsheet and the refusals count them: the titles are row 1. @param {number} place from 0 */
export const rowNumber = (place) => place + 2;

/** What a list still lacks before it can be tried, in words; empty when nothing. @param {Record<string, number>} mapping */
export function mappingLacks(mapping) {
  const named = ["name", "number", "given_name", "family_name"].some((f) => mapping[f] !== undefined);
  return named ? "" : t("office.import.which_column");
}

/** A recipe in the language of the page, with the figures of its source: name, what goes in and what is done, source. @param {import("./api.js").Recipe} r */
export function recipeShown(r) {
  const parts = r.parts.map((p) => `${figure(p.amount, 0, 3)} ${p.unit} ${retold("office.recipe_parts", p.what)}`).join(", ");
  return { name: retold("office.recipe_names", r.name), text: `${parts}. ${retold("office.recipe_texts", r.text)}`, source: sourceShown(r.source) };
}

/** @param {string} source */
export const sourceShown = (source) => retold("office.recipe_sources", source);

/** Why a row of a list is not taken. @param {string} why */
export const rowRefused = (why) => known("office.import_whys", why) ?? detailShown(why);

/** What the box adds to a refusal. It names a rule set as its file does. @param {string} text */
export function detailShown(text) {
  const told = known("office.details", text) ?? known("office.details", text.charAt(0).toLowerCase() + text.slice(1)) ?? text;
  const rules = told.split(":")[0] ?? "";
  return told === text ? told : ruleName(rules) + told.slice(rules.length);
}

/** A recipe as one text, as the box writes it: what goes in, then what is done. @param {import("./api.js").Recipe} r */
export function recipeText(r) {
  return `${r.parts.map((p) => `${p.amount} ${p.unit} ${p.what}`).join(", ")}. ${r.text}`;
}

/** An id for a new entry of a list, from its words. @param {string} words @param {string[]} taken */
export function newId(words, taken) {
  const plain = words.normalize("NFD").replace(/\p{Mn}/gu, "").toLowerCase().replace(/[^a-z0-9]+/g, "-").replace(/^-+|-+$/g, "").slice(0, 50) || "entry";
  let id = plain;
  for (let n = 2; taken.includes(id); n++) id = `${plain}-${n}`;
  return id;
}

/**
 * Gives each question a number; only the newest one's answer is taken.
 */
export function newest() {
  let last = 0;
  return () => {
    const mine = ++last;
    return () => mine === last;
  };
}

/** What changed between two forms, field by field. @param {Record<string, unknown>} was @param {Record<string, unknown>} is @param {Record<string, string>} names */
export function changes(was, is, names) {
  return Object.keys(names).filter((k) => JSON.stringify(was[k]) !== JSON.stringify(is[k])).map((k) => names[k]);
}

/** Kinds, limits and stock of a facepiece as one line. @param {import("./api.js").Facepiece} f */
export function facepieceLine(f) {
  return [lookUp(kinds, f.type), f.style, f.fit_factor ? t("office.needs_factor", { n: f.fit_factor }) : ""].filter(Boolean).join(", ");
}

/** People of a plan as pips: sure ones, likely ones, those at best. @param {import("./api.js").Plan} p */
export function planPips(p) {
  return Array.from({ length: Math.min(80, p.per_day.high) }, (_, i) => (i < p.per_day.low ? "given" : i < p.per_day.median ? "half" : "open"));
}
