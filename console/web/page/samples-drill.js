// SPDX-License-Identifier: Apache-2.0

// Samples of drills for the reference of states and for tests; all invented.

const exercises = ["normal_breathing", "deep_breathing", "head_side_to_side", "head_up_and_down", "talking", "bending_over", "normal_breathing_again"];

/** @param {number} end seconds @param {number} short a top-up that misses one; 0: none */
function doses(end, short = 0) {
  return [{ required: 10, given: 10, extra: 0, due_s: -1, shut_s: 0 }, ...Array.from({ length: 13 }, (_, i) => ({
    required: 5, given: 30 * (i + 1) > end ? 0 : i + 1 === short ? 4 : 5, extra: i === 2 && end > 100 ? 1 : 0, due_s: 30 * (i + 1), shut_s: 30 * (i + 1) + 25,
  }))];
}

/** @param {number} end */
function squeezes(end) {
  const out = Array.from({ length: 10 }, (_, i) => i - 9);
  for (let k = 1; k <= 13; k++) for (let i = 0; i < 5; i++) if (30 * k + 0.8 + 0.9 * i < end) out.push(30 * k + 0.8 + 0.9 * i);
  return out;
}

/** @param {number} end @param {(t: number) => number} share of the threshold at a level of one dose */
function curve(end, share) {
  const given = squeezes(end);
  return Array.from({ length: Math.floor(end / 2) + 1 }, (_, i) => 2 * i).map((t) => ({ t_s: t, taste: share(t) * given.reduce((sum, s) => (s <= t ? sum + 2 ** (-(t - s) / 30) : sum), 0) / 10 }));
}

/** @type {import("./state-drill.js").Sheet} */
export const sheet = {
  run: "r000412", practice: "drill", trainee: "Bram Okafor", opened: "2026-09-14T08:12:00+02:00", ask: { seed: "k3f9w2mp7d", level: "plain", troubles: [] }, rules: "US rule", agent: "bitter", facepiece: "Any facepiece",
  scored: true, unscored: "", points: 100, items: [], outcome: "pass", reason: "", right: "pass", against: "agrees", reactions: [],
  rhythm: { required: 75, given: 75, extra: 1, late_mid_s: 4.4, late_worst_s: 9.1, cadence_s: 0.9, hurried: 0 },
  truth: { name: "Ilse Marrow", other_name: "", squeezes: 7, leak: 0.00008, worse: [{ exercise: "talking", number: 4, times: 2, from_s: 5 }], fits: true, reaction_s: 1.2, clear_s: 48 },
  threshold: 6.4, bin: 10, curve: curve(420, () => 0.012), tasted_s: null, end_s: 420, length_s: 420, exercises, doses: doses(420), squeezes_s: squeezes(420),
};

/** @type {import("./state-drill.js").Sheet["truth"]} */
const leaky = { name: "Otto Tarn", other_name: "", squeezes: 9, leak: 0.0001, worse: [{ exercise: "head_side_to_side", number: 2, times: 380, from_s: 14 }], fits: false, reaction_s: 1.8, clear_s: 152 };
const touched = { n: 1, trouble: "touches_facepiece", at_s: 613.4, right: "touched", by_s: 15, did: "", after_s: null, grade: "missed", ends: true };

/** @type {Record<string, import("./state-drill.js").Sheet>} */
export const sheets = {
  full: sheet,
  tasted: {
    ...sheet, points: 72, outcome: "fail", reason: "tasted", right: "fail", truth: leaky, curve: curve(138, (t) => (t >= 134 ? 4.2 : 0.011)), tasted_s: 134, end_s: 138, doses: doses(138), squeezes_s: squeezes(138),
    items: [
      { key: "clearing_short", times: 1, points: 20, rule: "common practice: rinse, and wait until the taste is gone", about: "" },
      { key: "late_reaction", times: 1, points: 5, rule: "house limit", about: "says_aloud" },
      { key: "dose_late", times: 1, points: 3, rule: "house limit: complete within 20 s after it is due", about: "" },
    ],
    reactions: [
      { n: 1, trouble: "says_aloud", at_s: 24.3, right: "said_aloud", by_s: 10, did: "said_aloud", after_s: 12.4, grade: "late", ends: false },
      { n: 2, trouble: "still_tastes", at_s: 58, right: "", by_s: 0, did: "go_on", after_s: 14, grade: "wrong", ends: false },
    ],
  },
  "false-pass": {
    ...sheet, points: 40, right: "not_valid", against: "agrees", reactions: [touched],
    items: [{ key: "false_pass", times: 1, points: 60, rule: "29 CFR 1910.134 App. A, Part I.B; OSHA letter of 18 March 2015: an interrupted run may not be continued", about: "" }],
  },
  "given-up": { ...sheet, scored: false, unscored: "given_up", points: 0, outcome: "not_valid", reason: "interrupted", right: "not_valid", against: "not_told", curve: [], end_s: null, doses: [], squeezes_s: [], rhythm: { required: 0, given: 0, extra: 0, late_mid_s: null, late_worst_s: null, cadence_s: null, hurried: null } },
  open: { ...sheet, scored: false, unscored: "open", points: 0, outcome: "", reason: "", right: "", against: "", truth: null, curve: [], end_s: null, doses: [], squeezes_s: [] },
};

/** @type {import("./state-drill.js").List} */
export const list = {
  trainees: ["Bram Okafor", "Iris Vane"], more: false,
  drills: [97, 100, 72, 88, 40, 0, 81, 63].map((points, i) => ({
    run: `r00042${9 - i}`, trainee: i % 3 === 2 ? "Iris Vane" : "Bram Okafor", opened: `2026-09-1${4 - Math.floor(i / 2)}T0${9 - (i % 2)}:1${i}:00+02:00`, level: ["easy", "plain", "hard"][i % 3] ?? "easy",
    troubles: i % 2 ? ["dizzy"] : [], scored: points > 0, unscored: points > 0 ? "" : "given_up", points, outcome: points > 90 ? "pass" : points === 40 ? "pass" : "not_valid", reason: "", against: points === 40 ? "false_pass" : "agrees",
  })),
};

const agreed = { both: 11, trainee: 1, trainer: 0, neither: 12, share: 0.958, defined: true, kappa: 0.917, lo: 0.755, hi: 1, few: false };
/** @type {import("./state-drill.js").Agreement[]} */
export const agreements = [
  { trainee: "Bram Okafor", drills: 24, verdicts: agreed, reactions: { ...agreed, both: 18, trainee: 2, trainer: 3, neither: 5, kappa: 0.55, lo: 0.21, hi: 0.89 } },
  { trainee: "Iris Vane", drills: 3, verdicts: { ...agreed, both: 3, trainee: 0, neither: 0, defined: false, few: true }, reactions: { ...agreed, both: 0, trainee: 0, neither: 0, defined: false, few: true } },
];

/** @type {import("./state-drill.js").Offer} */
export const offer = {
  levels: [["easy", 0, 1], ["plain", 1, 2], ["hard", 2, 4]].map(([key, least, most]) => ({ key: String(key), leaky: 0.3, hairline: 0.5, insensitive: key !== "easy", least: Number(least), most: Number(most), quick_s: 0.6, slow_s: 2 })),
  troubles: ["other_name", "chewed_gum", "beard", "wrong_nebuliser", "says_aloud", "still_tastes", "touches_facepiece", "lifts_hood", "no_mist", "dizzy", "button_out", "harmless"].map((key) => ({ key, stage: "running", sees: key, right: "", by_s: 15, outcome: "", reason: "", rule: "house limit" })),
  assumptions: [{ key: "bins", values: [0.6, 0.3, 0.1], says: "How many people taste within 10, 20 and 30 squeezes was not found published; these shares are assumed.", source: "" }],
  weights: [{ key: "false_pass", points: 60, most: 60, rule: "29 CFR 1910.134 App. A, Part I.B", why: "A false pass is the worst that can happen: nobody may pass a drill with one." }],
};
