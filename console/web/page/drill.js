// SPDX-License-Identifier: Apache-2.0

// Joins the Drill page: what the box offers and keeps, the one command that
// opens a drill, and the sheet of one. The drill itself is held on the Bench.

import { render } from "./vendor/lit-html.js";
import { ApiError, base } from "./api.js";
import { readChoices } from "./contract.js";
import { driver } from "./driver.js";
import { speak, t } from "./lang.js";
import { office } from "./office.js";
import { drawing, getJSON, root } from "./screen.js";
import { readAgreements, readList, readOffer, readPage, seedOf, troublesOf } from "./state-drill.js";
import { drill } from "./view-drill.js";

await speak(["run", "office", "desk", "drill"]);

const place = root("run.nav.drill");
const desk = office(() => draw());
const { o } = desk;
const asked = new URLSearchParams(location.search);
/** @type {import("./driver.js").Driven} */
const driven = { asleep: false, sim: false, said: "", problem: "", contacts: [] };
/** @type {import("./view-drill.js").Ui} */
const ui = {
  offer: null, choices: null, form: { trainee: o.by, level: "easy", wrong: "surprise", troubles: [], facepiece: "", rules: "", agent: "bitter", seed: asked.get("seed") ?? "" },
  link: "waiting", said: "", list: null, whose: "", agreements: null, run: /^r\d+$/.test(asked.get("run") ?? "") ? (asked.get("run") ?? "") : "", page: null,
};
const d = ui.run === "" ? driver(driven, { draw: () => draw() }) : null;
let opening = false;

/** @param {string} path */
async function get(path) {
  try {
    return await getJSON(base + path);
  } catch (err) {
    throw new ApiError(404, "", err instanceof Error ? err.message : String(err));
  }
}

/** @type {import("./view-drill.js").Acts} */
const act = {
  setBy: desk.setBy, settle: desk.settle, takeBack: desk.takeBack, undo: desk.undo,
  form(f) {
    // Another level or other troubles make another wearer of the same seed.
    ui.form = { ...ui.form, ...f };
    draw();
  },
  takeOver: () => d?.takeOver(),
  open() {
    if (!d?.live() || opening) return;
    const f = ui.form;
    opening = true;
    const seed = f.seed || seedOf(crypto.getRandomValues(new Uint8Array(10)));
    const ask = { seed, level: f.level, troubles: troublesOf(f.wrong, f.troubles) };
    d.do("open", { open: { wearer: "", facepiece: f.facepiece || "drill", rules: f.rules, agent: f.agent, tester: f.trainee.trim(), drill: ask } }, (ok) => {
      opening = false;
      if (ok) {
        try {
          sessionStorage.setItem("tallyhood.drill", "begun"); // the Bench takes the lease of this page, which is gone then
        } catch {
          // Then the Bench asks whether to take over.
        }
        location.assign("/bench");
      }
      draw();
    });
    draw();
  },
  whose(name) {
    ui.whose = name;
    readLists();
  },
  print: () => print(),
  again(s) {
    const q = new URLSearchParams({ seed: s.ask.seed, level: s.ask.level, agent: s.agent, troubles: s.ask.troubles.join(" ") });
    location.assign(`/drill?${q}`);
  },
  judge: (outcome, acts, note) =>
    desk.change(t("drill.judge.noting"), async () => {
      const answer = await fetch(`${base}/drills/${ui.run}/judge`, { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify({ outcome, acts, note, by: o.by.trim() }) });
      if (!answer.ok) {
        const p = await answer.json().catch(() => ({}));
        throw new ApiError(answer.status, "", String(p?.detail ?? answer.statusText));
      }
      await readSheet();
    }, t("drill.judge.noted", { trainer: o.by.trim() })),
};

function linkOf() {
  const snap = d?.snap() ?? null;
  if (!d || snap === null || !d.fresh()) return "waiting";
  if (opening) return "opening";
  if (snap.run) return "run";
  return snap.driver === d.client() && !driven.asleep ? "ready" : "driven";
}

function draw() {
  d?.look();
  ui.link = linkOf();
  ui.said = driven.said || driven.problem;
  render(drill(o, ui, act), place);
}

async function readSheet() {
  ui.page = readPage(await get(`/drills/${ui.run}`));
}

function readLists() {
  void desk.run(t("drill.loading"), async () => {
    const whose = ui.whose ? `?${new URLSearchParams({ trainee: ui.whose })}` : "";
    const [list, agreements] = await Promise.all([get(`/drills${whose}`), get("/drills/agreement")]);
    Object.assign(ui, { list: readList(list), agreements: readAgreements(agreements) });
  });
}

/** What another drill was asked with, from its sheet's link. */
function fromAddress() {
  const f = ui.form;
  f.level = ui.offer?.levels.find((l) => l.key === asked.get("level"))?.key ?? f.level;
  f.agent = asked.get("agent") || f.agent;
  if (!asked.has("troubles")) return;
  const keys = (asked.get("troubles") ?? "").split(" ").filter(Boolean);
  f.wrong = keys.length === 0 ? "surprise" : keys[0] === "none" ? "none" : "own";
  f.troubles = keys.filter((k) => ui.offer?.troubles.some((x) => x.key === k));
}

if (ui.run !== "") void desk.run(t("drill.loading_sheet"), readSheet);
else {
  void desk.run(t("drill.loading"), async () => {
    const [offer, choices] = await Promise.all([get("/drills/offer"), getJSON("/api/choices")]);
    ui.offer = readOffer(offer);
    ui.choices = readChoices(choices);
    ui.form.rules ||= ui.choices.rules.find((r) => r.id === "us-osha")?.id ?? ui.choices.rules[0]?.id ?? "";
    fromAddress();
  });
  readLists();
}
if (d) drawing(draw);
else draw();
