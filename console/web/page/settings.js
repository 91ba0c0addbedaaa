// SPDX-License-Identifier: Apache-2.0

// Joins the page of the house.

import { render } from "./vendor/lit-html.js";
import { ApiError } from "./api.js";
import { readBox } from "./contract.js";
import { desk as deskApi, told } from "./desk.js";
import { speak, t } from "./lang.js";
import { office } from "./office.js";
import { copyText, saveFile } from "./save.js";
import { getJSON, root } from "./screen.js";
import { inWords } from "./state-office.js";
import { arriving } from "./state-record.js";
import { leastPassphrase, settings } from "./view-settings.js";
import { limits, limitWords, refusals } from "./words-desk.js";

await speak(["run", "office", "desk"]);

const keyLast = "tallyhood.backup";
const place = root("run.nav.settings");
const desk = office(() => draw());
const { o } = desk;
const api = deskApi((url, init) => fetch(url, init));
/** @type {import("./view-settings.js").Ui} */
const ui = {
  policy: null, rules: "", choices: [], head: null, noHead: "", retention: null, typed: "", made: null, last: lastOne(), where: "download", mismatch: "", visible: false, empty: false, restored: null, version: "", backups: null, restores: [],
};

function draw() {
  render(settings(o, ui, act), place);
}

/** The last backup that was proven from this browser. */
function lastOne() {
  try {
    const v = JSON.parse(localStorage.getItem(keyLast) ?? "null");
    return typeof v?.at === "string" && typeof v.where === "string" && typeof v.bytes === "number" ? v : null;
  } catch {
    return null;
  }
}

/** Says how far the work is. @type {import("./desk.js").Progress} */
const far = (done, of) => {
  o.done = of > 0 ? t("office.done_of", { done, of }) : "";
  draw();
};

const fetched = arriving(o, draw);

/** The rules as the box has them. @type {import("./desk.js").Policy|null} */
let saved = null;

/** A box that keeps none says so by the page's own list. */
async function readBackups() {
  const got = await api.backups().catch(() => null);
  ui.backups = got?.generations ?? null;
  ui.restores = got?.restores ?? [];
}

async function readPolicy() {
  const [policy, choices] = await Promise.all([told(api.policy), getJSON("/api/choices")]);
  const rules = /** @type {any} */ (choices)?.rules;
  ui.choices = Array.isArray(rules) ? rules.map((r) => ({ id: String(r.id), label: String(r.label) })) : Object.keys(limits).map((id) => ({ id, label: limitWords(id).name }));
  ui.policy = saved = policy;
  ui.rules = policy.rules;
}

/** @type {import("./view-settings.js").Acts} */
const act = {
  setBy: desk.setBy, settle: desk.settle, takeBack: desk.takeBack, undo: desk.undo,
  choose(rules) {
    ui.rules = rules;
    draw();
  },
  async save(policy) {
    const was = saved;
    ui.policy = policy; // what was typed stays, whatever the box says
    const what = t("desk.settings.reckoning");
    const undo = was && was.rules !== "" ? { take: t("desk.settings.rules_undo"), work: async () => {
      await told(() => api.setPolicy(was, o.by, far));
      await readPolicy();
    } } : undefined;
    if (await desk.change(what, () => told(() => api.setPolicy(policy, o.by, far)), t("desk.settings.kept"), undo)) await desk.run(t("desk.reading"), readPolicy);
  },
  look() {
    void desk.run(t("desk.settings.looking"), async () => {
      Object.assign(o, { problem: "", said: "" });
      ui.retention = await told(() => api.retention());
      ui.typed = "";
    });
  },
  type(text) {
    ui.typed = text;
    draw();
  },
  async drop() {
    const r = ui.retention;
    if (!r) return;
    const what = t("desk.settings.erasing");
    const n = r.people.length;
    const done = await desk.change(what, () => told(() => api.drop(r.people.map((p) => p.person), o.by, far), { changed: refusals.retention_changed ?? "" }), t("desk.settings.erased", { n }));
    if (!done && !o.by) return;
    const { problem, said } = o;
    ui.typed = "";
    await desk.run(t("desk.settings.looking"), async () => { ui.retention = await told(api.retention); });
    Object.assign(o, { problem: problem || o.problem, said });
    draw();
  },
  where(w) {
    ui.where = w;
    draw();
  },
  see(v) {
    ui.visible = v;
    draw();
  },
  async back(passphrase, again, folder) {
    ui.mismatch = passphrase.trim().length < leastPassphrase ? t("desk.settings.least", { n: leastPassphrase }) : passphrase !== again ? t("desk.settings.not_same") : "";
    ui.made = null;
    draw();
    if (ui.mismatch) return;
    desk.clear();
    const what = t("desk.settings.writing");
    await desk.run(what, async () => {
      if (ui.where === "folder") ui.made = await told(() => api.backupTo(folder, passphrase, far));
      else {
        const f = await told(() => api.file("/backup", { passphrase }, fetched));
        saveFile(f.blob, f.name);
        ui.made = { file: f.name, bytes: f.blob.size, proven: true };
      }
      if (!ui.made.proven) {
        ui.made = null;
        throw new ApiError(409, "", t("desk.settings.unproven"));
      }
      ui.last = { at: new Date(desk.box.now()).toISOString(), where: ui.where === "folder" ? folder : t("desk.settings.downloaded"), bytes: ui.made.bytes };
      localStorage.setItem(keyLast, JSON.stringify(ui.last));
      await readBackups();
      document.querySelector(/** @type {"form"} */ ("form.backup"))?.reset();
    });
  },
  async restore(passphrase, file) {
    if (!file || !desk.named()) return;
    desk.clear();
    await desk.run(t("desk.settings.bringing"), async () => {
      ui.restored = await told(() => api.restore(passphrase, o.by.trim(), file));
      ui.empty = false;
    });
  },
  async copy(text, what) {
    o.said = t((await copyText(text)) ? "desk.copied" : "desk.not_copied", { what });
    draw();
  },
};
draw();
void desk.run(t("desk.reading"), async () => {
  await Promise.allSettled([
    readPolicy().catch((err) => { o.problem = inWords(err); }),
    readBackups(),
    getJSON("/api/box").then((b) => { ui.version = readBox(b).version; }, () => {}),
    Promise.all([api.runs({}, "", 1), desk.box.people("", "", 1)]).then(([r, p]) => { ui.empty = r.runs.length === 0 && r.next === "" && p.people.length === 0; }, () => {}).then(async () => {
      if (ui.empty) ui.noHead = t("desk.settings.no_key");
      else await told(api.head).then((h) => { ui.head = h; }, (err) => { ui.noHead = inWords(err); });
    }),
  ]);
});
