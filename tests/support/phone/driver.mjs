/* Does with the phone's own outbox what the test says, one line of JSON at a time; what the outbox asks of the server
 * goes out as a line as well, and its answer, or that there is none, comes back in one. */

import { createInterface } from "node:readline";
import { Disk, Factory, IDBKeyRange } from "./store_double.mjs";

globalThis.IDBKeyRange = IDBKeyRange;
delete globalThis.BroadcastChannel; // one page at a time
const { Outbox } = await import("./phone/outbox.js");
const { Store } = await import("./phone/store.js");

let disk = new Disk();
let page = null;
let asked = 0;
const waiting = new Map();
const say = (line) => process.stdout.write(`${JSON.stringify(line)}\n`);

class Killed extends Error {}

/** One page of the app over the phone's disk. */
class Page {
  constructor({ person, ahead }) {
    this.factory = new Factory(disk);
    globalThis.indexedDB = this.factory;
    this.ahead = ahead;
    this.died = new Promise((_, reject) => { this.die = () => { this.factory.kill(); reject(new Killed()); }; });
    this.died.catch(() => undefined);
    this.outbox = new Outbox({
      store: new Store("phone"), fetch: (...given) => this.fetch(...given), now: () => Date.now() + this.ahead,
      locks: { request: (_, __, work) => work({}) }, random: () => 0.5,
    });
    this.outbox.person = person;
  }

  async fetch(path, { method = "GET", body = null }) {
    const number = ++asked;
    const octets = body instanceof Blob ? Buffer.from(await body.arrayBuffer()).toString("base64") : null;
    const answer = new Promise((resolve) => waiting.set(number, resolve));
    say({ ask: number, method, path, body: octets === null ? body : null, octets });
    const { killed, lost, status, type, text } = await answer;
    if (killed) {
      this.die();
      return new Promise(() => undefined);
    }
    if (lost) throw new TypeError("Failed to fetch");
    return { status, headers: new Headers({ "Content-Type": type }), json: async () => JSON.parse(text) };
  }
}

const DEEDS = {
  fresh: () => { page?.factory.kill(); disk = new Disk(); page = null; },
  open: async (given) => { page = new Page(given); await page.outbox.wake(); },
  kill: () => page.die(),
  disk: ({ full }) => { disk.full = full; },
  later: ({ milliseconds }) => { page.ahead += milliseconds; },
  add: async ({ entries }) => {
    const whole = entries.map(({ octets, ...entry }) => ({ ...entry, files: octets ? [new Blob([Buffer.from(octets, "base64")])] : [] }));
    return (await page.outbox.addAll(whole)).map(({ id }) => id);
  },
  /** An entry that no screen makes: written past the outbox, as a tampered page could. */
  rogue: async ({ kind, id }) => {
    const made = (await page.outbox.list()).at(-1);
    await page.outbox.store.within(["outbox"], "readwrite", (outbox) => { outbox.add({ ...made, id, kind, seq: made.seq + 1, files: [], state: "waiting", tried: false }); });
  },
  undo: async ({ id }) => Boolean(await page.outbox.undo(id)),
  mend: async ({ id, body }) => (await page.outbox.mend(id, body)).id,
  drop: ({ id, reason }) => page.outbox.drop(id, reason),
  again: ({ id }) => page.outbox.again(id),
  send: () => page.outbox.sendAll(),
  list: () => page.outbox.list(),
};

async function done({ do: deed, ...given }) {
  try {
    const died = deed === "open" || deed === "fresh" ? new Promise(() => undefined) : page.died;
    say({ done: (await Promise.race([DEEDS[deed](given), died])) ?? null });
  } catch (error) {
    if (error instanceof Killed) say({ killed: true });
    else if (["Unable", "NoRoom"].includes(error.name)) say({ refused: error.message });
    else say({ fault: error.stack ?? String(error) });
  }
}

createInterface({ input: process.stdin }).on("line", (text) => {
  const line = JSON.parse(text);
  if ("answer" in line) {
    waiting.get(line.answer)(line);
    waiting.delete(line.answer);
  } else done(line);
}).on("close", () => process.exit(0));
