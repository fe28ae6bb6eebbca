/* The part of IndexedDB that the phone's store uses, in memory, for tests under Node.js.
 *
 * One transaction runs at a time and is kept whole or not at all. What was written outlives the page that wrote it; a
 * page that is killed never hears of its transactions again, and those that had not ended leave nothing. */

const CLONED = (value) => {
  if (value === null || typeof value !== "object" || value instanceof Blob) return value;
  if (Array.isArray(value)) return value.map(CLONED);
  return Object.fromEntries(Object.entries(value).map(([name, one]) => [name, CLONED(one)]));
};

/** What is on the phone's disk. */
export class Disk {
  constructor() {
    this.stores = null;
    this.full = false;
    this.queue = [];
  }

  next() {
    this.queue[0]?.start();
  }
}

/** IndexedDB as one page sees it. */
export class Factory {
  constructor(disk) {
    this.disk = disk;
    this.killed = false;
  }

  open() {
    const asked = {};
    const database = new Database(this);
    setImmediate(() => {
      if (this.killed) return;
      asked.result = database;
      if (!this.disk.stores) {
        this.disk.stores = new Map();
        asked.onupgradeneeded?.();
      }
      asked.onsuccess();
    });
    return asked;
  }

  /** The tab is gone: what it had begun and not ended is undone. */
  kill() {
    this.killed = true;
    const running = this.disk.queue[0];
    this.disk.queue = this.disk.queue.filter((one) => one.factory !== this);
    if (running?.factory === this) running.undo();
    this.disk.next();
  }
}

class Database {
  constructor(factory) {
    this.factory = factory;
  }

  createObjectStore(name, { keyPath = null } = {}) {
    const kept = { keyPath, rows: new Map(), indexes: new Map() };
    this.factory.disk.stores.set(name, kept);
    return { createIndex: (index, path) => kept.indexes.set(index, path) };
  }

  transaction(names, mode) {
    return new Transaction(this.factory, names, mode);
  }

  close() {}
}

class Transaction {
  constructor(factory, names, mode) {
    Object.assign(this, { factory, disk: factory.disk, names, mode, asked: [], begun: false, ended: false, error: null });
    if (factory.killed) return; // nothing of a page that is gone is begun any more
    this.disk.queue.push(this);
    if (this.disk.queue[0] === this) this.start();
  }

  start() {
    if (this.begun) return;
    this.begun = true;
    this.before = new Map(this.names.map((name) => [name, new Map(this.disk.stores.get(name).rows)]));
    this.asked.splice(0).forEach((one) => this.run(one));
    setImmediate(() => this.end());
  }

  objectStore(name) {
    if (!this.names.includes(name)) throw new Error(`${name} is not in this transaction`);
    return new Shelf(this, this.disk.stores.get(name));
  }

  ask(work) {
    if (this.ended) throw new DOMException("The transaction has ended.", "TransactionInactiveError");
    const request = { work };
    if (this.begun) this.run(request);
    else this.asked.push(request);
    return request;
  }

  run(request) {
    let fault = null;
    try {
      request.result = request.work();
    } catch (error) {
      fault = error;
    }
    queueMicrotask(() => {
      if (this.factory.killed) return;
      if (!fault) return request.onsuccess?.();
      request.error = fault;
      request.onerror?.();
      this.error = fault;
      if (!this.ended) this.abort();
    });
  }

  write(work) {
    if (this.mode !== "readwrite") throw new DOMException("This transaction only reads.", "ReadOnlyError");
    return this.ask(work);
  }

  abort() {
    if (this.ended) throw new DOMException("The transaction has ended.", "InvalidStateError");
    this.undo();
    this.leave();
    setImmediate(() => { if (!this.factory.killed) this.onabort?.(); });
  }

  undo() {
    this.ended = true;
    this.before?.forEach((rows, name) => { this.disk.stores.get(name).rows = rows; });
  }

  end() {
    if (this.ended || this.factory.killed) return;
    this.ended = true;
    this.leave();
    this.oncomplete?.();
  }

  leave() {
    this.disk.queue = this.disk.queue.filter((one) => one !== this);
    this.disk.next();
  }
}

class Shelf {
  constructor(transaction, kept) {
    this.transaction = transaction;
    this.kept = kept;
  }

  get(key) { return this.transaction.ask(() => CLONED(this.kept.rows.get(key))); }

  getAll() { return this.transaction.ask(() => ordered(this.kept.rows).map(([, value]) => CLONED(value))); }

  getAllKeys() { return this.transaction.ask(() => ordered(this.kept.rows).map(([key]) => key)); }

  count() { return this.transaction.ask(() => this.kept.rows.size); }

  delete(key) { return this.transaction.write(() => { this.kept.rows.delete(key); }); }

  clear() { return this.transaction.write(() => { this.kept.rows.clear(); }); }

  add(value, key) { return this.put(value, key, true); }

  put(value, key = value[this.kept.keyPath], fresh = false) {
    const copy = CLONED(value);
    return this.transaction.write(() => {
      if (this.transaction.disk.full) throw new DOMException("The disk is full.", "QuotaExceededError");
      if (fresh && this.kept.rows.has(key)) throw new DOMException("The key is taken.", "ConstraintError");
      this.kept.rows.set(key, copy);
    });
  }

  index(name) {
    const path = this.kept.indexes.get(name);
    const keyOf = (value) => (Array.isArray(path) ? path.map((part) => value[part]) : value[path]);
    const rows = () => [...this.kept.rows.values()].map((value) => [keyOf(value), value]).sort(([a], [b]) => compared(a, b));
    return {
      getAll: (range) => this.transaction.ask(() => rows().filter(([key]) => !range || range.holds(key)).map(([, value]) => CLONED(value))),
      openCursor: (_, way) => this.transaction.ask(() => {
        const found = way === "prev" ? rows().at(-1) : rows()[0];
        return found ? { key: found[0], value: CLONED(found[1]) } : null;
      }),
    };
  }
}

export const IDBKeyRange = {
  bound: (lower, upper) => ({ holds: (key) => compared(key, lower) >= 0 && compared(key, upper) <= 0 }),
};

/** Keys as IndexedDB orders them: numbers before words before lists, lists by their parts. */
function compared(a, b) {
  const rank = (one) => (Array.isArray(one) ? 2 : typeof one === "string" ? 1 : 0);
  if (rank(a) !== rank(b)) return rank(a) - rank(b);
  if (!Array.isArray(a)) return a < b ? -1 : Number(a > b);
  for (let place = 0; place < Math.min(a.length, b.length); place += 1) {
    const found = compared(a[place], b[place]);
    if (found) return found;
  }
  return a.length - b.length;
}

function ordered(rows) {
  return [...rows].sort(([a], [b]) => compared(a, b));
}
