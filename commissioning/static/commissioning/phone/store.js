/* What the phone keeps: bundles taken along, the outbox, files that wait to be sent, and a few notes.
 *
 * One IndexedDB database. Every write is one transaction and is waited for, so that "kept" means that it is on the
 * phone's disk. A full disk is an error of its own (NoRoom), said in words; nothing is half kept. */

export const VERSION = 1;
const NO_ROOM = "This phone has no room left, so the entry was not kept. It stays on the screen: "
  + "send what waits, drop a system that you do not need today or free some room, then keep it again.";

/** The phone's disk is full: nothing was written. */
export class NoRoom extends Error {
  constructor() {
    super(NO_ROOM);
    this.name = "NoRoom";
  }
}

export class Store {
  constructor(name = "tracker") {
    this.name = name;
    this.opened = null;
  }

  /** The database, opened once; reopened when the browser closed it under us. */
  open() {
    this.opened ??= new Promise((resolve, reject) => {
      const asked = indexedDB.open(this.name, VERSION);
      asked.onupgradeneeded = () => lay(asked.result);
      asked.onerror = () => { this.opened = null; reject(said(asked.error)); };
      asked.onsuccess = () => {
        const database = asked.result;
        database.onversionchange = () => { database.close(); this.opened = null; };
        database.onclose = () => { this.opened = null; };
        resolve(database);
      };
    });
    return this.opened;
  }

  close() {
    const opened = this.opened;
    this.opened = null;
    return opened ? opened.then((database) => database.close(), () => undefined) : Promise.resolve();
  }

  /** Run `work(stores…)` in one transaction; answers what it returned once everything is on the disk. */
  async within(names, mode, work) {
    const database = await this.open();
    return new Promise((resolve, reject) => {
      let answer, failed;
      const transaction = database.transaction(names, mode, { durability: "strict" });
      const stores = names.map((name) => transaction.objectStore(name));
      transaction.oncomplete = () => resolve(answer);
      transaction.onabort = () => reject(said(failed ?? transaction.error));
      transaction.onerror = () => { failed ??= transaction.error; };
      // Only promises of this transaction are awaited inside `work`: waiting for anything else would end it.
      Promise.resolve(work(...stores)).then((value) => { answer = value; }, (error) => {
        failed = error;
        try { transaction.abort(); } catch { reject(said(error)); }
      });
    });
  }

  /** What was taken along of a project, or undefined. */
  bundle(code) {
    return this.within(["bundles"], "readonly", (bundles) => got(bundles.get(code)));
  }

  bundles() {
    return this.within(["bundles"], "readonly", (bundles) => got(bundles.getAll()));
  }

  /** One system of what was taken along, or undefined. */
  async system(code, id) {
    return (await this.bundle(code))?.systems.find((system) => system.id === id);
  }

  keepBundle(code, bundle) {
    return this.within(["bundles"], "readwrite", (bundles) => got(bundles.put({ ...bundle, code })));
  }

  /** Put one system as it stands now into what was taken along; without it in `fresh`, take it out. */
  renewSystem(code, id, fresh, asked) {
    return this.within(["bundles"], "readwrite", async (bundles) => {
      const held = await got(bundles.get(code));
      if (!held) return;
      const [now] = fresh.systems.map((one) => ({ ...one, taken_at: fresh.taken_at, head: fresh.head, kept_at: asked }));
      const systems = held.systems.map((one) => (one.id === id ? now : one)).filter(Boolean);
      const { project, person, instruments } = fresh;
      bundles.put({ ...held, project, person, instruments, systems, ids: systems.map((one) => one.id) });
    });
  }

  dropBundle(code) {
    return this.within(["bundles"], "readwrite", (bundles) => got(bundles.delete(code)));
  }

  file(sha256) {
    return this.within(["files"], "readonly", (files) => got(files.get(sha256)));
  }

  note(key) {
    return this.within(["meta"], "readonly", (meta) => got(meta.get(key)));
  }

  keepNote(key, value) {
    return this.within(["meta"], "readwrite", (meta) => got(meta.put(value, key)));
  }

  /** How much room is used and left, in bytes, what waits, and whether the browser promised to keep it. */
  async usage() {
    const [room, persisted, counted] = await Promise.all([
      navigator.storage?.estimate?.() ?? {},
      navigator.storage?.persisted?.() ?? false,
      this.within(["outbox", "files"], "readonly", async (outbox, files) => {
        const items = await got(outbox.getAll());
        const unsent = items.filter(isUnsent);
        return {
          unsent: unsent.length,
          photos: unsent.filter((item) => item.kind === "photo").length,
          files: await got(files.count()),
        };
      }),
    ]);
    return { used: room.usage ?? null, quota: room.quota ?? null, persisted, ...counted };
  }

  /** Drop what was taken along and what arrived. Entries that the server has not taken, and their files, stay.
   *  Answers how many stayed. When none did and the person is `leaving`, nothing new is taken for a while either: the
   *  browser is about to be cleared. */
  drop({ leaving = false } = {}) {
    return this.within(["bundles", "outbox", "files", "meta"], "readwrite", async (bundles, outbox, files, meta) => {
      bundles.clear();
      meta.clear();
      const items = await got(outbox.getAll());
      const unsent = items.filter(isUnsent);
      const kept = new Set(unsent.flatMap((item) => item.files));
      items.filter((item) => !isUnsent(item)).forEach((item) => outbox.delete(item.id));
      (await got(files.getAllKeys())).filter((key) => !kept.has(key)).forEach((key) => files.delete(key));
      if (leaving && !unsent.length) meta.put(Date.now(), "leaving");
      return unsent.length;
    });
  }
}

/** True while the entry is not safely on the server, or while the server refused it and nobody has decided yet. */
export function isUnsent(item) {
  return ["waiting", "sending", "needs you"].includes(item.state);
}

/** A request's result as a promise. */
export function got(request) {
  return new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(said(request.error));
  });
}

function lay(database) {
  database.createObjectStore("bundles", { keyPath: "code" });
  const outbox = database.createObjectStore("outbox", { keyPath: "id" });
  outbox.createIndex("system", ["project", "system", "seq"]);
  outbox.createIndex("seq", "seq");
  outbox.createIndex("state", "state");
  database.createObjectStore("files");
  database.createObjectStore("meta");
}

function said(error) {
  return error?.name === "QuotaExceededError" ? new NoRoom() : error ?? new Error("The phone's store did not answer.");
}

export const store = new Store();
