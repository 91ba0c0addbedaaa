// SPDX-License-Identifier: Apache-2.0

// The program under test as a process of its own, with the contacts of its
// simulated board. It must not know the pages.

import assert from "node:assert/strict";
import { spawn } from "node:child_process";
import { mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { connect } from "node:net";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { setTimeout as sleep } from "node:timers/promises";

export const program = process.env.TALLYHOOD ?? new URL("../../build/tallyhood", import.meta.url).pathname;

export { sleep };

// Nothing outlives the script that started it, however that ends.
const running = new Set();
process.on("exit", () => { for (const p of running) p.kill("SIGKILL"); });
for (const signal of ["SIGINT", "SIGTERM"]) process.once(signal, () => process.exit(1));

/**
 * Starts a box. Its store and address stay the same over a restart.
 * @param {{speed?: number, args?: string[]}} [how] speed: of the clock, 20 when left out
 */
export async function startBox({ speed = 20, args = [] } = {}) {
  const dir = mkdtempSync(join(tmpdir(), "tallyhood-browser-"));
  let child = null;
  let socket = null;
  let address = "127.0.0.1:0";
  let log = "";

  async function start() {
    const flags = ["serve", "--board", "sim", "--sim-socket", join(dir, "sim"), "--speed", String(speed), "--addr", address, "--store", join(dir, "store"), "--sound", "off", ...args];
    const p = spawn(program, flags, { stdio: ["ignore", "pipe", "pipe"] });
    child = p;
    running.add(p);
    p.once("exit", () => running.delete(p));
    p.stderr.on("data", (d) => { log += d; });
    const ready = await new Promise((resolve, reject) => {
      const late = setTimeout(() => reject(new Error(`the box is not ready after 30 s\n${log}`)), 30_000);
      let out = "";
      p.stdout.on("data", (d) => {
        out += d;
        const m = out.match(/ready on http:\/\/(\S+?)\//);
        if (m) { clearTimeout(late); resolve(m[1]); }
      });
      p.once("exit", (code) => { clearTimeout(late); reject(new Error(`the box ended with ${code}\n${log}`)); });
      p.once("error", reject);
    });
    address = ready;
    socket = connect(join(dir, "sim"));
    socket.on("data", (d) => { log += `contact: ${d}`; });
    socket.on("error", () => {}); // comes when the box is killed
    await new Promise((resolve) => socket.once("connect", resolve));
  }

  async function stop(signal) {
    socket?.destroy();
    const p = child;
    child = null;
    if (!p || p.exitCode !== null || p.signalCode !== null) return;
    const gone = new Promise((resolve) => p.once("exit", resolve));
    p.kill(signal);
    const late = setTimeout(() => p.kill("SIGKILL"), 8000);
    await gone;
    clearTimeout(late);
  }

  // What keeps this process waiting keeps the box waiting too, and a hand late.
  let lag = 0;
  let last = performance.now();
  const watch = setInterval(() => {
    const now = performance.now();
    lag = Math.max(lag, now - last - 10);
    last = now;
  }, 10);

  /** Lines that belong together go out together: the box dates them as they come. */
  const set = (...lines) => socket.write(`${lines.join("\n")}\n`);

  await start();
  return {
    get origin() { return `http://${address}`; },
    speed,
    /** The store's file. */
    store: join(dir, "store"),
    log: () => log,
    /** The longest that this process had to wait for the processor, in milliseconds. */
    lag: () => lag,
    set,
    /** One squeeze of the bulb: about 300 ms of the box's time, and a pause. */
    async squeeze() {
      set("squeeze 1");
      await sleep(300 / speed);
      set("squeeze 0");
      await sleep(Math.max(8, 600 / speed));
    },
    /** The wearer presses the button and lets go. */
    async report() {
      set("button 1"); // at one instant: on a fast clock two lines are two, and a cable that is out
      await sleep(Math.max(5, 500 / speed));
      set("button 0");
    },
    async step() {
      set("step 1");
      await sleep(Math.max(5, 300 / speed));
      set("step 0");
    },
    /** As when the plug is pulled. */
    kill: () => stop("SIGKILL"),
    restart: start,
    async close() {
      clearInterval(watch);
      await stop("SIGTERM");
      rmSync(dir, { recursive: true, force: true });
      assert.doesNotMatch(log, /panic|level=ERROR/, "the box logged an error");
    },
  };
}

/**
 * Starts a box whose file with the records is spoilt: it stays up, and its pages
 * say what to do.
 */
export async function startLocked() {
  const dir = mkdtempSync(join(tmpdir(), "tallyhood-locked-"));
  const store = join(dir, "store");
  writeFileSync(store, "spoilt".repeat(9000));
  const p = spawn(program, ["serve", "--store", store, "--addr", "127.0.0.1:0", "--sound", "off"], { stdio: ["ignore", "pipe", "ignore"] });
  running.add(p);
  const gone = new Promise((resolve) => p.once("exit", resolve));
  const origin = await new Promise((resolve, reject) => {
    const late = setTimeout(() => reject(new Error("the locked box has not answered after 30 s")), 30_000);
    let out = "";
    p.stdout.on("data", (d) => {
      out += d;
      const m = out.match(/cannot open its records; (http:\/\/\S+?)\/ says/);
      if (m) { clearTimeout(late); resolve(m[1]); }
    });
    void gone.then((code) => { clearTimeout(late); running.delete(p); reject(new Error(`the locked box ended with ${code}\n${out}`)); });
    p.once("error", reject);
  });
  return {
    origin, store,
    async close() {
      p.kill("SIGTERM");
      await gone;
      rmSync(dir, { recursive: true, force: true });
    },
  };
}

/**
 * Runs a scenario with a box of its own. A fast clock makes a hand late when
 * the machine stands still, as a real tester would be: a scenario that failed
 * while it did is played once more, slower, and said to have been.
 * @param {(box: any) => Promise<void>} scenario
 * @param {Parameters<typeof startBox>[0] & {again?: number}} [how] again: how often it may be, once when left out; each time half as fast
 */
export async function withBox(scenario, { speed: fastest = 20, again = 1, ...how } = {}) {
  for (let more = again; ; more--) {
    const speed = fastest / 2 ** (again - more);
    const box = await startBox({ ...how, speed });
    try {
      await scenario(box);
      return;
    } catch (e) {
      const stood = Math.max(box.lag(), /"reason":"stalled"/.test(String(e)) ? 1000 : 0);
      if (more === 0 || stood < 3000 / box.speed) throw e;
      console.log(`once more, since this machine stood still for ${Math.round(stood)} ms: ${String(e).split("\n")[0]}`);
    } finally {
      await box.close();
    }
  }
}
