// SPDX-License-Identifier: Apache-2.0

// Commands to the daemon: numbered, under the lease as the page knows it, for
// the run that is on the screen. A command without a reply is said to have
// none; it is never sent again by itself.

/** @typedef {import("./contract.js").Command} Command */
/** @typedef {import("./contract.js").Snapshot} Snapshot */
/** @typedef {Pick<Command, "run"|"input"|"open"|"sim"|"line"|"cue"|"wall"|"volume"|"muted">} Parts */

/** A reply later than this is missing. */
export const replyWithinMs = 3000;
/** One later than this is said to be awaited. */
export const slowAfterMs = 1000;

/**
 * @param {string} id
 * @param {Snapshot|null} snap what is on the screen
 * @param {string} verb
 * @param {Parts} [parts]
 * @returns {Command}
 */
export function command(id, snap, verb, parts = {}) {
  /** @type {Command} */
  const out = { type: "command", id, fence: snap?.fence ?? 0, do: verb, ...parts };
  if (snap?.run && parts.run === undefined && verb !== "open" && verb !== "take_lease" && verb !== "drop_lease") out.run = snap.run.run;
  return out;
}

/**
 * Numbers commands and waits for their replies.
 * @param {{send: (c: Command) => boolean, id: () => string, now: () => number, said: (why: string) => void}} on
 */
export function commander(on) {
  let next = 1;
  /** @type {Map<string, {at: number, done: (ok: boolean) => void}>} */
  const waiting = new Map();
  return {
    /**
     * @param {Snapshot|null} snap
     * @param {string} verb
     * @param {Parts} [parts]
     * @param {(ok: boolean) => void} [done]
     */
    do(snap, verb, parts, done = () => {}) {
      const id = `${on.id()}-${next++}`;
      if (on.send(command(id, snap, verb, parts))) waiting.set(id, { at: on.now(), done });
      else on.said("no_answer");
    },
    /** @param {import("./contract.js").Reply} reply */
    reply(reply) {
      const w = waiting.get(reply.id);
      if (!w) return;
      waiting.delete(reply.id);
      if (!reply.ok) on.said(reply.why ?? "unknown");
      w.done(reply.ok);
    },
    /** Whether a reply has been awaited for long. */
    slow: () => [...waiting.values()].some((w) => on.now() - w.at > slowAfterMs),
    /** Gives up on replies that did not come in time. */
    tick() {
      for (const [id, w] of waiting) {
        if (on.now() - w.at <= replyWithinMs) continue;
        waiting.delete(id);
        on.said("no_answer");
        w.done(false);
      }
    },
  };
}
