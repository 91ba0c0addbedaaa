// SPDX-License-Identifier: Apache-2.0

// Samples of Records, a record, Insight and Settings, of an invented place: for
// states-desk.html and for tests. Nobody in it is real.

import { record as run } from "./samples.js";

/** @typedef {import("./state-record.js").Row} Row */
/** @typedef {import("./state-record.js").Full} Full */

const hash = "9f2c61d0b7e34a5586a0c1f7d2e98b4431aa07c5e6d9f8b2c3a415263748596a";

/** @param {Partial<Row>} over @returns {Row} */
export function row(over) {
  return {
    run: "r000412", person: "p-7kq2m9xd", name: "Ilse Brandvold", facepiece: "Brindle Corrie, medium", tester: "Oda Fennimore", make: "Brindle", model: "Corrie", size: "medium", at: "2026-09-14T09:41:07+02:00", quality: "confirmed",
    outcome: "pass", first: "pass", reason: "", recalled: "", practice: false, nebulisers: ["neb-w1", "neb-s1"], hash, signed: [], amended: [], ...over,
  };
}

/** The runs of two days, newest first. */
export const rows = [
  row({}),
  row({ run: "r000411", name: "Tomasz Okonjo", facepiece: "Brindle Corrie, large", size: "large", at: "2026-09-14T09:12:50+02:00", outcome: "fail", first: "fail", reason: "tasted" }),
  row({ run: "r000410", name: "Marit Quayle", facepiece: "Oxley Gill, medium", at: "2026-09-14T08:58:01+02:00", outcome: "not_valid", first: "not_valid", reason: "top_up_short" }),
  row({ run: "r000409", name: "Oda Fennimore", at: "2026-09-14T08:31:44+02:00", practice: true }),
  row({ run: "r000408", name: "Γιώργος Παπαδάκης", facepiece: "Oxley Gill, large", at: "2026-09-11T15:20:11+02:00", outcome: "not_valid", first: "pass", recalled: "nebuliser found clogged", reason: "mist_check_failed" }),
  row({ run: "r000407", name: "Zdzisława Wiśniewska-Błaszczykiewicz", facepiece: "Marl & Sons Scree with exhalation valve, S/M", at: "2026-09-11T14:55:00+02:00", outcome: "cannot_taste", first: "cannot_taste", reason: "no_taste_by_30" }),
  row({ run: "r000406", name: "", person: "p-0000aaaa", at: "2026-09-11T14:20:00+02:00" }),
];

/** Everything about the box and kit that a record may hold. */
const opening = {
  answers: ["nothing_but_water", "no_hair_at_seal", "cleared", "no_known_reaction", "facepiece_as_at_work", "weak_nebuliser"].map((question) => ({ question, yes: true })),
  wall_quality: "confirmed", time_source: "kernel time", style: "half mask, silicone, two P3 filters", size: "medium", whose: "own piece, as worn at work", version: "0.4.0",
  box: [
    { name: "contact squeeze on GPIO17", state: "loaded", reason: "" }, { name: "pedal for step", state: "loaded", reason: "" }, { name: "bulb sensor", state: "absent", reason: "none is configured" }, { name: "sound", state: "loaded", reason: "volume 80 %" },
    { name: "temperature", state: "failed", reason: "the board is hot: 83 degrees Celsius" },
  ],
  wiring_checked: "2026-09-14T07:58:20+02:00", sound_ms: 241.6,
  kit: [
    { id: "neb-w1", mark: "W1", role: "weak", agent: "bitter", lot: "W-2291", age_ns: 5.1e12, expired: false, checked: true },
    { id: "neb-s1", mark: "S1", role: "strong", agent: "bitter", lot: "S-2290", age_ns: 5.4e12, expired: false, checked: true },
  ],
  hood: { id: "hood-1", mark: "H1", across_mm: 305, tall_mm: 356, oversized: false },
};

/** A record with all that is around it. @param {Partial<Full>} [over] @returns {Full} */
export function full(over = {}) {
  return { ...run(""), run: "r000412", facepiece: "Brindle Corrie, medium", ...opening, ...over };
}

/** A record of a run that failed. @returns {Full} */
export function failed() {
  const f = full({ run: "r000411", wearer: "Tomasz Okonjo", facepiece: "Brindle Corrie, large" });
  const fit = f.record.fit;
  if (fit) {
    f.record = { ...f.record, outcome: "fail", reason: "tasted", fit: { ...fit, duration_s: 163.4, taste_s: 163.4, taste_exercise: "head_side_to_side", top_ups: fit.top_ups.slice(0, 5), exercises: fit.exercises.slice(0, 3), squeezes_total: 36 } };
    f.squeezes_s = f.squeezes_s?.filter((s) => s < 163.4) ?? [];
  }
  return f;
}

/** What was added to a run later. */
export const amended = row({
  tester: "Bram Okafor", amended: [{ field: "tester", from: "Oda Fennimore", to: "Bram Okafor", reason: "the wrong name was picked from the list", by: "Agnes Thorley", at: "2026-09-12T08:05:00+02:00", quality: "restored" }],
  signed: [{ who: "tester", record: hash, strokes: hash, holds: true, how: "typed", at: "2026-09-11T16:02:00+02:00", quality: "confirmed" }, { who: "wearer", record: "00", strokes: hash, holds: false }],
});

/** A signature that was drawn. @type {import("./sign.js").Drawing} */
export const drawing = {
  open: false, full: false,
  strokes: [
    [[0.12, 0.62], [0.14, 0.3], [0.18, 0.18], [0.22, 0.3], [0.2, 0.6], [0.15, 0.7], [0.12, 0.58]], [[0.24, 0.6], [0.28, 0.48], [0.31, 0.55], [0.29, 0.66], [0.34, 0.42], [0.35, 0.2], [0.35, 0.62], [0.4, 0.5], [0.44, 0.6], [0.47, 0.62]],
    [[0.55, 0.24], [0.54, 0.66]], [[0.53, 0.25], [0.66, 0.22]], [[0.54, 0.42], [0.63, 0.4]], [[0.66, 0.55], [0.7, 0.46], [0.72, 0.62], [0.76, 0.48], [0.78, 0.6], [0.82, 0.45], [0.86, 0.58], [0.92, 0.5]],
  ],
};

/** @type {import("./desk.js").Claim} */
export const claim = {
  run: "r000412", head: "", proof: ["a", "b", "c", "d", "e", "f", "g", "h", "i"],
  text: "TALLYHOOD1:6BFOXN%TS3DH0YOJ58S S-W5HDC *M0II5XHC9B5G2+$N IOP-IA%NFQGRJPC%OQHIZC4.OI1RM8ZA.A5:S9MKN4NN3F85QNCY0O%0VZ001HOC9JU0D0HT0HB2PL/IB*09B9LW4T*8+DC:IU3YTZQ6M7",
};

const drawnCode = `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 29 29" width="232" height="232" shape-rendering="crispEdges"><path fill="#fff" d="M0 0h29v29H0z"/><path fill="#000" d="M4 4h7v1h-7zM13 4h1v1h-1zM18 4h7v1h-7zM4 5h1v1h-1zM10 5h1v1h-1zM12 5h3v1h-3zM16 5h1v1h-1zM18 5h1v1h-1zM24 5h1v1h-1zM4 6h1v1h-1zM6 6h3v1h-3zM10 6h1v1h-1zM18 6h1v1h-1zM20 6h3v1h-3zM24 6h1v1h-1zM4 7h1v1h-1zM6 7h3v1h-3zM10 7h1v1h-1zM13 7h1v1h-1zM18 7h1v1h-1zM20 7h3v1h-3zM24 7h1v1h-1zM4 8h1v1h-1zM6 8h3v1h-3zM10 8h1v1h-1zM12 8h2v1h-2zM15 8h2v1h-2zM18 8h1v1h-1zM20 8h3v1h-3zM24 8h1v1h-1zM4 9h1v1h-1zM10 9h1v1h-1zM14 9h2v1h-2zM18 9h1v1h-1zM24 9h1v1h-1zM4 10h7v1h-7zM12 10h1v1h-1zM14 10h1v1h-1zM16 10h1v1h-1zM18 10h7v1h-7zM4 12h1v1h-1zM6 12h1v1h-1zM8 12h1v1h-1zM10 12h1v1h-1zM14 12h1v1h-1zM16 12h1v1h-1zM20 12h1v1h-1zM23 12h1v1h-1zM13 13h1v1h-1zM15 13h1v1h-1zM17 13h2v1h-2zM20 13h1v1h-1zM24 13h1v1h-1zM4 14h2v1h-2zM7 14h9v1h-9zM19 14h1v1h-1zM21 14h1v1h-1zM24 14h1v1h-1zM4 15h1v1h-1zM6 15h1v1h-1zM8 15h2v1h-2zM11 15h1v1h-1zM15 15h2v1h-2zM18 15h7v1h-7zM10 16h1v1h-1zM12 16h1v1h-1zM15 16h1v1h-1zM22 16h1v1h-1zM24 16h1v1h-1zM12 17h1v1h-1zM14 17h1v1h-1zM17 17h1v1h-1zM19 17h1v1h-1zM22 17h1v1h-1zM4 18h7v1h-7zM14 18h1v1h-1zM16 18h1v1h-1zM19 18h6v1h-6zM4 19h1v1h-1zM10 19h1v1h-1zM18 19h5v1h-5zM24 19h1v1h-1zM4 20h1v1h-1zM6 20h3v1h-3zM10 20h1v1h-1zM12 20h2v1h-2zM16 20h3v1h-3zM20 20h1v1h-1zM22 20h3v1h-3zM4 21h1v1h-1zM6 21h3v1h-3zM10 21h1v1h-1zM13 21h3v1h-3zM17 21h3v1h-3zM21 21h1v1h-1zM23 21h1v1h-1zM4 22h1v1h-1zM6 22h3v1h-3zM10 22h1v1h-1zM12 22h1v1h-1zM14 22h2v1h-2zM18 22h1v1h-1zM24 22h1v1h-1zM4 23h1v1h-1zM10 23h1v1h-1zM13 23h5v1h-5zM19 23h2v1h-2zM22 23h3v1h-3zM4 24h7v1h-7zM12 24h1v1h-1zM14 24h2v1h-2zM18 24h1v1h-1zM20 24h1v1h-1zM24 24h1v1h-1z"/></svg>`;
/** A code as the box draws it; it says TALLYHOOD1:R42. */
export const code = `data:image/svg+xml,${encodeURIComponent(drawnCode)}`;

/** @type {import("./desk.js").Head} */
export const head = {
  size: 51_204, root: "", wall: "2026-09-14T09:49:12+02:00", quality: "confirmed", note: "tallyhood.head/1", key: "harrowgate-1+5d0c2a9e+AdM7Xl0k3q8ZrYv2m1pNwB6cJtQeHs9fUgLaRyKiOx4T",
};

/** Restores that the journal comes from. @type {import("./desk.js").BroughtIn[]} */
export const restores = [
  { at: "2026-08-03T07:55:00+02:00", quality: "confirmed", box: "harrowgate-1", made: "2026-07-31T16:40:00+02:00", entries: 48_730, by: "Agnes Thorley", later: "taken_over" },
  { at: "2025-01-07T08:00:00+01:00", quality: "restored", box: "harrowgate-1", made: "2025-01-06T16:00:00+01:00", entries: 9_120, by: "", later: "unknown" },
];

/** @type {import("./desk.js").Generation[]} */
export const backups = [
  { where: "/media/stick", file: "/media/stick/tallyhood-box-5f0c2a-a.age", bytes: 48_211_968, made: "2026-09-14T16:40:00+02:00", quality: "confirmed", proven: "2026-09-14T16:40:09+02:00", entries: 51_204, hash, here: true },
  { where: "", file: "", bytes: 48_190_101, made: "2026-09-12T12:02:00+02:00", quality: "confirmed", proven: "2026-09-12T12:02:08+02:00", entries: 50_877, hash: `0${hash.slice(1)}`, here: false },
  { where: "/media/stick", file: "/media/stick/tallyhood-box-5f0c2a-b.age", bytes: 47_903_744, made: "2026-09-11T16:38:00+02:00", quality: "confirmed", proven: "2026-09-11T16:38:09+02:00", entries: 50_410, hash: `1${hash.slice(1)}`, here: false },
];

/** @type {import("./desk.js").Policy} */
export const policy = { rules: "uk-hse", retest_months: 24, keep_months: 0, site: "Harrowgate Stoneworks, the yard", hoods: 2 };
export const choices = [{ id: "us-osha", label: "US rule" }, { id: "uk-hse", label: "UK guidance" }];

/** @type {import("./desk.js").Retention} */
export const retention = {
  months: 60, count: 214, runs: [row({ run: "r000012", at: "2021-03-11T10:11:00+01:00" })], more: false,
  people: [{ person: "p-1", name: "Anders Holmlund", number: "H-0031", left: "2021-06-30", lastRun: "2021-05-03" }, { person: "p-2", name: "Noor Vasquez", number: "", left: "2021-04-01", lastRun: "" }],
};

/** @type {import("./desk.js").Letter[]} */
export const letters = [{ letter: "A", name: "Oda Fennimore" }, { letter: "B", name: "Bram Okafor" }, { letter: "C", name: "Agnes Thorley" }];

/** Texts that are no chart of ours. */
export const hostile = [
  `<svg xmlns="http://www.w3.org/2000/svg"><script>document.title = "run"</script></svg>`, `<svg xmlns="http://www.w3.org/2000/svg" onload="document.title = 'run'"><rect/></svg>`,
  `<svg xmlns="http://www.w3.org/2000/svg"><foreignObject><b xmlns="http://www.w3.org/1999/xhtml">x</b></foreignObject></svg>`, `<svg xmlns="http://www.w3.org/2000/svg"><a href="javascript:1"><text>x</text></a></svg>`,
  `<svg xmlns="http://www.w3.org/2000/svg"><rect fill="url(http://192.0.2.1/x)"/></svg>`, `<svg xmlns="http://www.w3.org/2000/svg"><g><text style="x">x</text></g></svg>`, `<svg xmlns="http://www.w3.org/2000/svg"><image href="/x"/></svg>`,
  `<html xmlns="http://www.w3.org/1999/xhtml"/>`, `<svg xmlns="http://www.w3.org/2000/svg"><rect></svg>`, "no drawing",
];
