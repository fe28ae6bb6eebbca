/* The outbox: what was recorded on this phone, in order, until the server has it.
 *
 * An entry is made once, with its own UUID, and is on the phone's disk before `add` answers. It goes to the server in the
 * order in which it was made, system by system (sending.js). State in words:
 *   waiting    not sent yet, or sent without an answer: it goes (again) when there is signal
 *   sending    on its way now
 *   arrived    the server has it; listed for seven days
 *   needs you  the server has refused it, with the reason: mend it or drop it
 * Two more close an entry that needed somebody: `mended` (another entry stands in its place) and `dropped` (with the
 * reason that was given). */

import { KINDS, whyNot } from "./kinds.js";
import { Sender } from "./sending.js";
import { got, isUnsent, store as ownStore } from "./store.js";

export const UNDO_MILLISECONDS = 10_000;
export const KEEP_MILLISECONDS = 7 * 24 * 3600 * 1000;
const LEAVING_MILLISECONDS = 60_000;
const LEAVING = "You are signing out in another tab, so the entry was not kept. Sign in again, then keep it.";
/** The field by which an entry names the one that it leans on: a photo its punch item, a step its signal proof. */
const LEANS_ON = { punch_item: "item", signal_forced: "proof" };
const CLOSED = ["arrived", "dropped", "mended"];

/** What the person asked for cannot be done; the words say why and what to do. */
export class Unable extends Error {
  constructor(words) {
    super(words);
    this.name = "Unable";
  }
}

export class Outbox extends EventTarget {
  constructor({ store = ownStore, fetch = (...given) => globalThis.fetch(...given), now = () => Date.now(), ...more } = {}) {
    super();
    this.store = store;
    this.now = now;
    /** Who records on this phone: {id, name}. An entry goes only while its own maker is signed in. */
    this.person = null;
    this.sender = new Sender({ outbox: this, fetch, now, ...more });
    this.channel = "BroadcastChannel" in globalThis ? new BroadcastChannel(`outbox of ${store.name}`) : null;
    this.channel?.addEventListener("message", () => this.dispatchEvent(new Event("change")));
  }

  /** Keep one entry; answers it once it is on the disk. Throws Unable or NoRoom with nothing kept. */
  async add(entry) {
    return (await this.addAll([entry]))[0];
  }

  /** Keep several entries together: all of them or none, in this order. An entry may bring its `id`. */
  async addAll(entries) {
    const made = [];
    for (const entry of entries) made.push(await this.made(entry));
    await this.store.within(["outbox", "files", "meta"], "readwrite", async (outbox, files, meta) => {
      if ((await got(meta.get("leaving")) ?? 0) > Date.now() - LEAVING_MILLISECONDS) throw new Unable(LEAVING);
      let seq = await last(outbox);
      for (const { item, blobs } of made) {
        item.seq = ++seq;
        outbox.add(item);
        blobs.forEach((blob, place) => files.put(blob, item.files[place]));
      }
    });
    this.changed();
    return made.map(({ item }) => item);
  }

  async made({ id, project, system, kind, body, seen = {}, files = [], hold = UNDO_MILLISECONDS }) {
    const refused = whyNot(kind);
    if (refused) throw new Unable(refused);
    const sums = await Promise.all(files.map(sha256));
    const now = this.now();
    const item = {
      id: id ?? crypto.randomUUID(),
      project, system, seq: 0, kind,
      by: this.person?.id ?? null,
      by_name: this.person?.name ?? "",
      made_at: new Date(now).toISOString(),
      hold_until: now + hold,
      body: kind === "photo" && sums.length ? { ...body, sha256: sums[0] } : { ...body },
      seen,
      files: sums,
      state: "waiting",
      tried: false,
      reason: "",
      result: null,
    };
    return { item, blobs: files };
  }

  /** Entries in order; of a project, of a system, in some states. */
  async list({ project = null, system = null, states = null } = {}) {
    const items = await this.store.within(["outbox"], "readonly", (outbox) => got(outbox.index("seq").getAll()));
    return items.filter((item) => (!project || item.project === project) && (!system || item.system === system)
      && (!states || states.includes(item.state)));
  }

  get(id) {
    return this.store.within(["outbox"], "readonly", (outbox) => got(outbox.get(id)));
  }

  /** Take back an entry that has not been sent yet; answers it. */
  async undo(id) {
    const taken = await this.store.within(["outbox", "files"], "readwrite", async (outbox, files) => {
      const item = await got(outbox.get(id));
      if (!item) return null;
      if (item.state !== "waiting" || item.tried) {
        throw new Unable("It is on its way already, so it cannot be taken back here. Record the line again, or reopen it.");
      }
      await removeWith(outbox, files, [item, ...await dependents(outbox, item)]);
      return item;
    });
    this.changed();
    return taken;
  }

  /** Put another entry in the place of one that the server refused; what depends on it goes again behind it. */
  async mend(id, body) {
    const answer = await this.store.within(["outbox"], "readwrite", async (outbox) => {
      const old = await needing(outbox, id);
      // Kept back here after it was sent without an answer: a second entry could say the same thing twice.
      if (old.local && old.tried) throw new Unable("The server may have this entry already. Send it again as it is.");
      const behind = (await dependents(outbox, old)).filter(isUnsent);
      const seq = await last(outbox);
      const replace = (item, changed, place) => {
        const again = renew(item, changed, seq + place, this.now());
        outbox.put(again);
        outbox.put({ ...item, state: "mended", mended_by: again.id, closed_at: this.now() });
        return again;
      };
      const renewed = replace(old, body, 1);
      behind.forEach((one, place) => replace(one, { ...one.body, [LEANS_ON[old.kind]]: renewed.id }, place + 2));
      return renewed;
    });
    this.changed();
    return answer;
  }

  /** Give up an entry that needs somebody, with the reason; what depends on it goes with it. The server is told. */
  async drop(id, reason) {
    const words = String(reason ?? "").trim();
    if (!words) throw new Unable("Say why it is dropped: the reason stays on record.");
    await this.store.within(["outbox"], "readwrite", async (outbox) => {
      const old = await needing(outbox, id);
      for (const item of [old, ...(await dependents(outbox, old)).filter(isUnsent)]) {
        outbox.put({ ...item, state: "dropped", drop_reason: words, drop_told: false, closed_at: this.now() });
      }
    });
    this.changed();
  }

  /** Leave entries behind at sign-out, as the person has asked for each: what the server refused is dropped there with
   *  the reason, what it never had is gone. Answers those that the server is to be told of. */
  async leaveBehind(ids, reason) {
    const words = String(reason ?? "").trim();
    if (!words) throw new Unable("Say why they are dropped.");
    const told = await this.store.within(["outbox", "files"], "readwrite", async (outbox, files) => {
      const found = new Map();
      for (const id of ids) {
        const item = await got(outbox.get(id));
        if (!item || !isUnsent(item)) continue;
        for (const one of [item, ...(await dependents(outbox, item)).filter(isUnsent)]) found.set(one.id, one);
      }
      const known = [...found.values()].filter((item) => item.state === "needs you" && !item.local);
      await removeWith(outbox, files, [...found.values()].filter((item) => !known.includes(item)));
      const dropped = known.map((item) => ({ ...item, state: "dropped", drop_reason: words, drop_told: false, closed_at: this.now() }));
      dropped.forEach((item) => outbox.put(item));
      return dropped;
    });
    this.changed();
    return told;
  }

  /** Let an entry go once more as it is: one that was kept back here and that the server may never have seen. */
  async again(id) {
    await this.store.within(["outbox"], "readwrite", async (outbox) => {
      const { local: _, ...item } = await needing(outbox, id);
      outbox.put({ ...item, state: "waiting", reason: "", refusal: null });
    });
    this.changed();
  }

  /** Send what waits, as far as the network carries. One tab at a time; safe to call at any moment. */
  sendAll() {
    return this.sender.sendAll();
  }

  /** Mark entries as on their way; answers those that still are to be sent, as they stand on the disk. */
  async begin(ids) {
    const taken = await this.store.within(["outbox"], "readwrite", async (outbox) => {
      const found = [];
      for (const id of ids) {
        const item = await got(outbox.get(id));
        if (!item || !["waiting", "sending"].includes(item.state)) continue;
        found.push({ ...item, state: "sending", tried: true });
        outbox.put(found.at(-1));
      }
      return found;
    });
    this.changed();
    return taken;
  }

  /** Change entries by what the server answered: `changes` maps an id to fields. An entry already closed stays as it is. */
  async settle(changes) {
    await this.store.within(["outbox", "files"], "readwrite", async (outbox, files) => {
      for (const [id, fields] of Object.entries(changes)) {
        const item = await got(outbox.get(id));
        if (!item || CLOSED.includes(item.state)) continue;
        const next = { ...item, ...fields };
        outbox.put(next);
        if (next.state === "arrived") await forget(outbox, files, next);
      }
    });
    this.changed();
  }

  /** Keep on an entry itself, whatever its state, that the server knows it was dropped. */
  async told(id) {
    await this.store.within(["outbox"], "readwrite", async (outbox) => {
      const item = await got(outbox.get(id));
      if (item) outbox.put({ ...item, drop_told: true });
    });
  }

  /** Every unsent entry of a project needs somebody: the person is no longer in it. Nothing is lost. */
  async hold(project, reason) {
    const items = await this.list({ project, states: ["waiting", "sending"] });
    await this.settle(Object.fromEntries(items.map((item) => [item.id, { state: "needs you", reason, local: true }])));
    if (items.length) this.dispatchEvent(new CustomEvent("held", { detail: items.length }));
  }

  /** At the start: what was on its way when the phone went off waits again; closed entries go after seven days. */
  async wake() {
    const before = this.now() - KEEP_MILLISECONDS;
    await this.store.within(["outbox", "files"], "readwrite", async (outbox, files) => {
      for (const item of await got(outbox.getAll())) {
        if (item.state === "sending") outbox.put({ ...item, state: "waiting" });
        if (CLOSED.includes(item.state) && (item.closed_at ?? 0) < before && item.drop_told !== false) {
          await removeWith(outbox, files, [item]);
        }
      }
    });
    this.changed();
  }

  /** How many entries stand in each state. */
  async counts(project = null) {
    const found = { waiting: 0, sending: 0, "needs you": 0, arrived: 0, photos: 0 };
    for (const item of await this.list({ project })) {
      if (item.state in found) found[item.state] += 1;
      if (item.kind === "photo" && isUnsent(item)) found.photos += 1;
    }
    return found;
  }

  changed() {
    this.channel?.postMessage("changed");
    this.dispatchEvent(new Event("change"));
  }
}

/** The words of an entry's kind. */
export function kindWords(item) {
  return KINDS[item.kind] ?? item.kind;
}

export async function sha256(blob) {
  const sum = await crypto.subtle.digest("SHA-256", await blob.arrayBuffer());
  return [...new Uint8Array(sum)].map((octet) => octet.toString(16).padStart(2, "0")).join("");
}

async function last(outbox) {
  const cursor = await got(outbox.index("seq").openCursor(null, "prev"));
  return cursor ? cursor.key : 0;
}

async function needing(outbox, id) {
  const item = await got(outbox.get(id));
  if (item?.state !== "needs you") throw new Unable("Only an entry that needs you can be mended or dropped.");
  return item;
}

/** Entries that make no sense without this one, in order. */
async function dependents(outbox, item) {
  const field = LEANS_ON[item.kind];
  if (!field) return [];
  const whole = IDBKeyRange.bound([item.project, item.system], [item.project, item.system, []]);
  const items = await got(outbox.index("system").getAll(whole));
  return items.filter((one) => one.body?.[field] === item.id);
}

function renew(old, body, seq, now) {
  const { mended_by: _, closed_at: __, local: ___, ...kept } = old;
  return {
    ...kept, id: crypto.randomUUID(), seq, body, mends: old.id, state: "waiting", tried: false, reason: "", refusal: null,
    result: null, hold_until: now,
  };
}

async function removeWith(outbox, files, items) {
  items.forEach((item) => outbox.delete(item.id));
  for (const item of items) await forget(outbox, files, item);
}

/** Files of the entry that no other unsent entry needs. */
async function forget(outbox, files, item) {
  if (!item.files.length) return;
  const others = (await got(outbox.getAll())).filter((one) => one.id !== item.id && isUnsent(one));
  item.files.filter((sum) => !others.some((one) => one.files.includes(sum))).forEach((sum) => files.delete(sum));
}
