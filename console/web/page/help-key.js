// SPDX-License-Identifier: Apache-2.0

// The key "?" on every page that has no use of its own for it: that page's
// section of the help, in a panel beside what is there. The page goes on
// underneath and keeps its keys.

import { render } from "./vendor/lit-html.js";
import { load, spoken } from "./lang.js";
import { pageOfPath } from "./shortcuts.js";
import { panel } from "./view-help.js";

/** @type {HTMLDialogElement|null} */
let open = null;

/** Opens the help of this page, or closes it. */
async function turn() {
  if (open) {
    open.close();
    return;
  }
  const dialog = document.createElement("dialog");
  open = dialog;
  dialog.className = "help-dialog";
  const back = document.activeElement;
  dialog.addEventListener("close", () => {
    open = null;
    dialog.remove();
    if (back instanceof HTMLElement && back.isConnected) back.focus();
  });
  document.body.append(dialog);
  try {
    await load(spoken(), ["help"]);
  } catch {
    dialog.remove();
    open = null;
    location.assign("/help");
    return;
  }
  const page = pageOfPath(location.pathname);
  render(panel(page, false, () => dialog.close()), dialog);
  dialog.setAttribute("aria-label", dialog.querySelector("h1")?.textContent ?? "");
  dialog.show();
}

/** @param {EventTarget|null} target */
const typing = (target) => target instanceof HTMLInputElement || target instanceof HTMLSelectElement || target instanceof HTMLTextAreaElement;

/** Listens for the key on this page. */
export function helpKey() {
  addEventListener("keydown", (e) => {
    if (e.defaultPrevented || e.ctrlKey || e.altKey || e.metaKey || e.repeat) return;
    if (e.key === "?" && !typing(e.target)) void turn();
    else if (e.key === "Escape" && open) open.close();
  });
}
