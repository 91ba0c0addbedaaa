// SPDX-License-Identifier: Apache-2.0

// The socket to the daemon: says hello, reads messages, comes back after a
// loss, and knows how old the last snapshot is. It must not know what a
// snapshot means.

import { contract, read } from "./contract.js";
import { t } from "./lang.js";

/** @typedef {import("./contract.js").Message} Message */

/** A connection that is silent for so long is given up. */
export const silentForMs = 8000;
const firstWaitMs = 250;
const longestWaitMs = 5000;

/**
 * How long to wait before attempt n (from 0), with up to a quarter more by chance.
 * @param {number} n
 * @param {number} chance in [0, 1)
 */
export function backOff(n, chance) {
  return Math.min(longestWaitMs, firstWaitMs * 2 ** n) * (1 + chance / 4);
}

/**
 * @param {object} on
 * @param {"tester"|"trainer"|"wearer"} on.role
 * @param {() => object} [on.hello] what the hello says besides, at every connection
 * @param {unknown[]} [on.after] messages that follow it at every connection
 * @param {(m: Message) => void} on.message
 * @param {(problem: string) => void} on.problem a message that does not fit, or another contract
 * @param {(m: import("./contract.js").Board) => void} [on.board] news of another box
 * @param {() => void} on.lost
 */
export function openLink(on) {
  /** @type {WebSocket|null} */
  let socket = null;
  let attempts = 0;
  let heardAt = Number.NEGATIVE_INFINITY;
  let snapshotAt = Number.NEGATIVE_INFINITY;

  function connect() {
    const ws = new WebSocket(`${location.protocol === "https:" ? "wss:" : "ws:"}//${location.host}/live`);
    socket = ws;
    heardAt = performance.now();
    ws.addEventListener("open", () => {
      for (const m of [{ type: "hello", role: on.role, contract, ...on.hello?.() }, ...(on.after ?? [])]) ws.send(JSON.stringify(m));
    });
    ws.addEventListener("message", (e) => {
      if (socket !== ws) return;
      heardAt = performance.now();
      /** @type {Message|import("./contract.js").Board} */
      let m;
      try {
        m = read(String(e.data));
      } catch (err) {
        on.problem(t("run.link.misfit", { why: err instanceof Error ? err.message : String(err) }));
        return;
      }
      if (m.type === "board") {
        on.board?.(m);
        return;
      }
      if (m.type === "welcome" && m.contract !== contract) {
        on.problem(t("run.link.other_version"));
      }
      if (m.type === "snapshot") {
        snapshotAt = heardAt;
        attempts = 0;
      }
      on.message(m);
    });
    ws.addEventListener("close", () => {
      if (socket === ws) retry();
    });
  }

  function retry() {
    socket = null;
    on.lost();
    setTimeout(connect, backOff(attempts++, Math.random()));
  }

  setInterval(() => {
    const ws = socket;
    if (!ws || performance.now() - heardAt < silentForMs) return;
    retry();
    ws.close();
  }, 1000);
  connect();

  return {
    /** Age of the last snapshot in milliseconds. */
    age: () => performance.now() - snapshotAt,
    /**
     * Sends when there is a connection; false when there is none.
     * @param {unknown} message
     */
    send(message) {
      if (socket?.readyState !== WebSocket.OPEN) return false;
      socket.send(JSON.stringify(message));
      return true;
    },
  };
}
