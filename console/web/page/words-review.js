// SPDX-License-Identifier: Apache-2.0

// The words of what a review lists. Nothing here decides what is listed.

import { t } from "./lang.js";
import { fault, lookUp, onRun, outcomes, proofs, whys } from "./words.js";

/** A moment in words, with whose word it is where that is known. @param {import("./state-review.js").Moment} m */
export function momentWords(m) {
  const by = m.by === "wearer" ? t("review.moment.by_wearer") : m.by ? t("review.moment.by", { by: m.by }) : "";
  return by === "" ? what(m) : `${what(m)} ${by}`;
}

/** @param {import("./state-review.js").Moment} m */
function what(m) {
  const with_ = { n: m.top_up, text: m.text };
  switch (m.kind) {
    case "late":
    case "hurried":
    case "extra":
    case "added":
    case "taken_back": {
      const where = m.top_up > 0 ? "top_up" : m.key === "screening" || m.key === "initial" ? m.key : "other";
      return t(`review.moment.${m.kind}.${where}`, with_) + (m.text ? ` ${t("review.moment.reason", with_)}` : "");
    }
    case "ignored":
      return lookUp(whys, m.key);
    case "fault":
      return t("review.moment.fault", { text: fault(m.text ? `${m.key}: ${m.text}` : m.key) });
    case "verdict":
      return t("review.moment.verdict", { text: lookUp(outcomes, m.key) });
    case "recalled":
      return t("review.moment.recalled", { text: lookUp(outcomes, m.key) });
    case "remark":
      return lookUp(onRun, m.key);
    case "name_said":
      return t(`review.moment.name_said.${m.key === "no" ? "no" : "yes"}`);
    case "proof":
      return lookUp(proofs, m.key);
    case "wearer_did":
      return t("review.moment.wearer_did", { text: m.text || m.key.replaceAll("_", " ") });
  }
  return t(`review.moment.${m.kind}`, with_);
}
