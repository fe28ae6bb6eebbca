/* Sends the outbox: one tab at a time, system by system, in order, as often as it takes.
 *
 * The server knows an entry by its UUID, so an answer that was lost costs a repeat and nothing else. Within a system an
 * entry goes only when those before it were answered; what the server refuses waits for the person and holds nobody up.
 * A photo's octets go ahead in chunks (uploads.js); its entry follows when they are there. */

import { Damaged, Uploads } from "./uploads.js";
import { Left, NoSignal, Requests, SignIn, Unfit } from "./requests.js";

const BATCH = 20;
const BATCH_CHARACTERS = 200_000;
const LEASE_MILLISECONDS = 60_000;
const LONGEST_WAIT = 300_000;

export class Sender {
  constructor({ outbox, fetch, now, locks = globalThis.navigator?.locks ?? null, random = Math.random, root = "" }) {
    this.outbox = outbox;
    this.now = now;
    this.locks = locks;
    this.random = random;
    this.requests = new Requests({ fetch, now, root });
    this.uploads = new Uploads({ requests: this.requests, store: outbox.store });
    this.running = null;
    this.failures = 0;
    /** Why nothing goes just now: "", "no signal", "sign in", "busy" or "somebody else", with words for the person. */
    this.trouble = { kind: "", words: "" };
    this.timer = null;
    this.holder = crypto.randomUUID();
  }

  /** Send what waits. A call while another runs is answered when a round that began after it has ended. */
  sendAll() {
    if (this.running) {
      this.next ??= this.running.then(() => { this.next = null; return this.sendAll(); });
      return this.next;
    }
    this.running = this.alone(() => this.round()).finally(() => { this.running = null; });
    return this.running;
  }

  /** Send by itself from now on: at once, when the network returns, when the page is seen again, and by the clock. */
  start() {
    const soon = () => { this.failures = 0; this.after(0); };
    addEventListener("online", soon);
    document.addEventListener("visibilitychange", () => { if (document.visibilityState === "visible") soon(); });
    this.outbox.addEventListener("change", () => { if (!this.running && this.timer === null) this.after(200); });
    soon();
  }

  after(milliseconds) {
    clearTimeout(this.timer);
    this.timer = setTimeout(() => {
      this.timer = null;
      this.sendAll().then(() => this.plan(), (error) => { console.error(error); this.after(LONGEST_WAIT); });
    }, milliseconds);
  }

  /** When to look again: after a trouble later and later, with some chance so that phones do not come all at once. */
  async plan() {
    if (this.timer !== null) return;
    const waiting = await this.outbox.list({ states: ["waiting", "sending"] });
    if (!waiting.length || this.trouble.kind === "sign in") return;
    if (this.trouble.kind) {
      const longest = Math.min(2000 * 2 ** this.failures, LONGEST_WAIT);
      this.after(longest * (0.5 + this.random() / 2));
    } else {
      const held = Math.min(...waiting.map((item) => item.hold_until)) - this.now();
      this.after(Math.min(Math.max(held, 1000), LONGEST_WAIT));
    }
  }

  /** Run `work` while no other tab sends. */
  async alone(work) {
    const name = `outbox of ${this.outbox.store.name}`;
    if (this.locks) return this.locks.request(name, { ifAvailable: true }, (lock) => (lock ? work() : undefined));
    if (!await this.lease(LEASE_MILLISECONDS)) return undefined;
    const renewed = setInterval(() => this.lease(LEASE_MILLISECONDS), LEASE_MILLISECONDS / 3);
    try {
      return await work();
    } finally {
      clearInterval(renewed);
      await this.lease(0);
    }
  }

  /** Without Web Locks: a note in the store says who sends, and until when. */
  lease(milliseconds) {
    return this.outbox.store.within(["meta"], "readwrite", (meta) => new Promise((resolve) => {
      const asked = meta.get("sender");
      asked.onsuccess = () => {
        const free = !asked.result || asked.result.holder === this.holder || asked.result.until < this.now();
        if (free) meta.put({ holder: this.holder, until: this.now() + milliseconds }, "sender");
        resolve(free);
      };
    }));
  }

  async round() {
    const waiting = await this.outbox.list({ states: ["waiting", "sending"] });
    const untold = (await this.outbox.list({ states: ["dropped"] })).filter((item) => item.drop_told === false);
    if (!waiting.length && !untold.length) return this.troubled("");
    let trouble = "";
    try {
      const person = await this.requests.person();
      const mine = (item) => !item.by || item.by === person.id;
      for (const { project, system } of queues(waiting.filter(mine))) {
        trouble = (await this.system(project, system, mine)) || trouble;
      }
      for (const item of untold.filter(mine)) await this.tell(item);
      const others = waiting.find((item) => !mine(item));
      if (!trouble && others) return this.troubled("somebody else", `Entries of ${others.by_name || "somebody else"} wait here until that person signs in on this phone.`);
    } catch (error) {
      return this.stopped(error);
    }
    return this.troubled(trouble, trouble && "The server is busy; what waits is sent again in a moment.");
  }

  /** A round ended early: nothing is lost, and the header says why. */
  async stopped(error) {
    await this.rest();
    if (error instanceof SignIn) return this.troubled("sign in", "Sign in to send. Everything that waits is kept.");
    if (error instanceof NoSignal) return this.troubled(error.busy ? "busy" : "no signal", error.message);
    throw error;
  }

  /** What was on its way without an answer waits again. */
  async rest() {
    const items = await this.outbox.list({ states: ["sending"] });
    if (items.length) await this.outbox.settle(Object.fromEntries(items.map((item) => [item.id, { state: "waiting" }])));
  }

  troubled(kind, words = "") {
    this.failures = kind ? this.failures + 1 : 0;
    this.trouble = { kind, words };
    this.outbox.dispatchEvent(new Event("change"));
  }

  /** Everything that may go of one system, in order; answers "busy" when the server asked to come again. */
  async system(project, system, mine) {
    for (;;) {
      const items = (await this.outbox.list({ project, system, states: ["waiting", "sending"] })).filter(mine);
      const batch = await this.batch(items);
      if (!batch.length) return "";
      try {
        if (this.uploads.needs(batch[0]) && !await this.upload(project, batch[0])) continue;
        if (await this.post(project, batch)) return "busy";
      } catch (error) {
        if (!(error instanceof Left)) throw error;
        await this.outbox.hold(project, `${error.message} It was not sent: show it to a manager of the project, or drop it.`);
        await this.outbox.store.dropBundle(project);
        return "";
      }
    }
  }

  /** The entries that go together next: up to one that is still held for undo, or whose photo is not there yet. */
  async batch(items) {
    const found = [];
    let size = 0;
    for (const item of items) {
      if (item.hold_until > this.now() && item.hold_until <= this.now() + 60_000) break;
      if (found.length && this.uploads.needs(item)) break;
      size += JSON.stringify(item.body).length;
      if (found.length === BATCH || (found.length && size > BATCH_CHARACTERS)) break;
      found.push(item);
      if (found.length === 1 && this.uploads.needs(item)) break;
    }
    return found;
  }

  /** The octets of a photo; false when they can never be sent, and the person has to look. */
  async upload(project, item) {
    try {
      await this.uploads.send(project, item);
      return true;
    } catch (error) {
      if (!(error instanceof Damaged)) throw error;
      await this.outbox.settle({ [item.id]: { state: "needs you", reason: error.message, local: true } });
      return false;
    }
  }

  /** One request with some entries of one system; answers true when the server asks to come again. */
  async post(project, batch) {
    const items = await this.outbox.begin(batch.map((item) => item.id));
    if (!items.length) return false;
    let answer;
    try {
      answer = await this.requests.post(project, "outbox/", { sent_at: new Date(this.now()).toISOString(), items: items.map(asSent) });
    } catch (error) {
      if (!(error instanceof Unfit)) throw error;
      return this.unfit(project, items, error);
    }
    const results = new Map((answer.results ?? []).map((result) => [result.id, result]));
    await this.outbox.settle(Object.fromEntries(items.map((item) => [item.id, outcome(results.get(item.id), this.now())])));
    if (typeof answer.skew_seconds === "number") await this.outbox.store.keepNote("skew", answer.skew_seconds);
    return items.some((item) => !["arrived", "needs you"].includes(results.get(item.id)?.state));
  }

  /** The server could not read the request as a whole: find the entry that it cannot read by sending each alone. */
  async unfit(project, items, error) {
    if (items.length > 1) {
      for (const item of items) if (await this.post(project, [item])) return true;
      return false;
    }
    await this.outbox.settle({ [items[0].id]: { state: "needs you", reason: error.message, refusal: error.problem, local: true } });
    return false;
  }

  /** Tell the server that the person has dropped an entry. One that it never saw is simply gone. */
  async tell(item) {
    try {
      if (!item.local) await this.requests.post(item.project, `outbox/${item.id}/drop/`, { reason: item.drop_reason });
    } catch (error) {
      if (!(error instanceof Left || error instanceof Unfit)) throw error;
    }
    await this.outbox.told(item.id);
  }
}

/** The systems that have something to send, the one that waits longest first. */
function queues(items) {
  return [...new Map(items.map((item) => [`${item.project} ${item.system}`, item])).values()];
}

function asSent({ id, system, kind, made_at, body, seen, mends }) {
  return { id, system, kind, made_at, body, seen, ...(mends ? { mends } : {}) };
}

function outcome(result, now) {
  const answered = result && {
    sentences: result.sentences ?? [], result: result.record ?? null, reading: result.reading ?? null, known: Boolean(result.known),
  };
  if (result?.state === "arrived") return { ...answered, state: "arrived", reason: "", closed_at: now };
  if (result?.state === "needs you") return { ...answered, state: "needs you", reason: reasonOf(result), refusal: result.refusal ?? null };
  return { state: "waiting" };
}

function reasonOf({ refusal, sentences = [] }) {
  return refusal?.detail || refusal?.words || sentences.join(" ") || "The server did not take it.";
}
