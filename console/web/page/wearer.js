// SPDX-License-Identifier: Apache-2.0

// Joins the Wearer's parts: the code that pairs this screen with one run, the
// answer to the name, the language, and a passage that keeps the marked line in
// sight until somebody scrolls by hand.

import { render } from "./vendor/lit-html.js";
import { contract } from "./contract.js";
import { direction, load, speak, spoken, t, use, wearerLanguages } from "./lang.js";
import { openLink } from "./link.js";
import { drawing, root, titled } from "./screen.js";
import { languageOf, wearerSees } from "./state-wearer.js";
import { wearer } from "./view-wearer.js";

const areas = ["run", "wearer", "passages"];
const tryAgainMs = 5000;
const answerWithinMs = 3000;

await speak(areas, wearerLanguages);
const opened = spoken();

/** @type {import("./contract.js").Snapshot|null} */
let snap = null;
/** @type {import("./state-wearer.js").Own} */
const own = { typed: "", said: "", answered: "", unsent: false };
let code = ""; // of the run that this screen is paired with, to come back after a loss
let tried = ""; // typed, and not answered yet
let chosen = "";
let asked = 0;
let answerTimer = 0;

const place = root("wearer.page");

function draw() {
  render(wearer(wearerSees(snap, link.age(), own), own, snap?.practice, act), place);
  follow();
}

/** @type {import("./view-wearer.js").Acts} */
const act = {
  digit(d) {
    if (tried !== "" || snap?.pairing !== "needed") return;
    own.said = "";
    own.typed = (own.typed + d).slice(0, 4);
    if (own.typed.length === 4) {
      tried = own.typed;
      if (!link.send({ type: "hello", role: "wearer", contract, code: tried })) tried = own.typed = "";
    }
    draw();
  },
  back() {
    if (tried === "") own.typed = own.typed.slice(0, -1);
    draw();
  },
  answer(yes) {
    own.answered = yes ? "yes" : "no";
    own.unsent = !link.send({ type: "command", id: `wearer-${++asked}`, fence: 0, do: "name_said", run: snap?.run?.run ?? "", input: { do: "name_said", yes } });
    if (own.unsent && yes) own.answered = "";
    clearTimeout(answerTimer);
    answerTimer = setTimeout(unanswered, answerWithinMs);
    draw();
  },
  language(to) {
    chosen = to;
    settle();
  },
};

function unanswered() {
  if (own.answered === "" || snap?.run?.name_said) return;
  own.unsent = true;
  if (own.answered === "yes") own.answered = "";
  draw();
}

/** Speaks the language that is due now. */
function settle() {
  const lang = languageOf(chosen, snap, opened, wearerLanguages);
  if (lang === spoken()) return;
  load(lang, areas).then(() => {
    if (lang !== languageOf(chosen, snap, opened, wearerLanguages)) return;
    use(lang);
    document.documentElement.lang = lang;
    document.documentElement.dir = direction(lang);
    titled(t("wearer.page"));
    draw();
  });
}

/** @param {import("./contract.js").Snapshot} next */
function take(next) {
  const paired = next.pairing === "";
  if (code !== "" && tried === "" && !paired) end();
  if (paired && next.run?.run !== snap?.run?.run) {
    own.answered = "";
    own.unsent = false;
  }
  if (next.run?.name_said) {
    own.unsent = false;
    own.answered = ""; // asked anew, as when a run is taken up, it is answered anew
  }
  snap = next;
  settle();
}

/** The run was closed: the next person starts afresh. */
function end() {
  code = "";
  chosen = "";
  Object.assign(own, { typed: "", said: "ended", answered: "", unsent: false });
}

/** @param {string} paired */
function welcomed(paired) {
  const typed = tried;
  tried = "";
  if (paired === "yes") {
    if (typed) code = typed;
    own.typed = own.said = "";
  } else if (paired === "wrong" || paired === "later") {
    if (typed) Object.assign(own, { typed: "", said: paired });
    else if (paired === "wrong") end();
    else setTimeout(() => link.send({ type: "hello", role: "wearer", contract, code }), tryAgainMs);
  }
}

const link = openLink({
  role: "wearer",
  hello: () => (code === "" ? {} : { code }),
  message(m) {
    if (m.type === "snapshot") take(m);
    else if (m.type === "welcome") welcomed(m.paired);
    else if (!m.ok) unanswered();
    draw();
  },
  problem() {
    snap = null;
    draw();
  },
  lost() {
    tried = own.typed = "";
    draw();
  },
});

addEventListener("keydown", (e) => {
  if (e.ctrlKey || e.altKey || e.metaKey || snap?.pairing !== "needed") return;
  if (/^[0-9]$/.test(e.key)) act.digit(e.key);
  else if (e.key === "Backspace") act.back();
});

let byHand = false; // somebody scrolled: the marked line goes on without the page
let lastLine = -1;
for (const type of ["wheel", "touchmove", "pointerdown"]) {
  addEventListener(type, (e) => {
    if (e.target instanceof Element && e.target.closest(".passage")) byHand = true;
  }, { passive: true });
}

function follow() {
  const passage = place.querySelector(".passage");
  const marked = passage?.querySelector(".marked");
  if (!passage || !(marked instanceof HTMLElement)) {
    byHand = false;
    lastLine = -1;
    return;
  }
  const line = [...passage.children].indexOf(marked);
  if (line === lastLine || byHand) return;
  lastLine = line;
  passage.scrollTop = marked.offsetTop - passage.clientHeight * 0.3;
}

drawing(draw);
