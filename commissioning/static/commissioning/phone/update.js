/* The service worker, and newer versions of the app: taken at the next start or with a tap, never while an entry is open. */

import { h } from "./dom.js";

const ENTRY = "entry open";

export class Update {
  constructor(app) {
    this.app = app;
    this.waiting = null;
    this.open = null; // ends the hold on the lock that says an entry is open
    this.stale = false;
  }

  async start() {
    if (!("serviceWorker" in navigator)) return;
    let first = !navigator.serviceWorker.controller;
    navigator.serviceWorker.addEventListener("controllerchange", () => {
      if (first) first = false; // the first worker has come: this page is of its version
      else this.changed();
    });
    try {
      const registration = await navigator.serviceWorker.register("/phone-worker.js", { scope: "/", updateViaCache: "none" });
      const ready = () => { if (registration.waiting && navigator.serviceWorker.controller) this.found(registration.waiting); };
      registration.addEventListener("updatefound", () => {
        registration.installing?.addEventListener("statechange", ready);
      });
      ready();
      if (this.waiting) this.take(() => undefined); // found at the start: nothing is open yet
      setInterval(() => registration.update().catch(() => undefined), 3600_000);
    } catch (error) {
      console.warn("The app cannot be kept for use without signal here:", error.message);
    }
  }

  /** Hold back newer versions in every tab while an entry is open in one. */
  entry(open) {
    if (open && !this.open) {
      let end;
      this.open = { done: new Promise((resolve) => { end = resolve; }), end: () => end() };
      const { done } = this.open;
      navigator.locks?.request(ENTRY, { mode: "shared" }, () => done);
    } else if (!open && this.open) {
      this.open.end();
      this.open = null;
      if (this.stale) location.reload();
    }
  }

  /** Another version answers now: this page is drawn anew by it, as soon as no entry is open. */
  changed() {
    this.stale = true;
    if (!this.open) location.reload();
  }

  found(worker) {
    this.waiting = worker;
    this.look();
  }

  /** Say that a newer version is ready. */
  look() {
    const news = document.querySelector(".phone-news");
    if (!this.waiting || news.querySelector(".update")) return;
    news.prepend(h("p", { class: "news update" }, "A newer version is ready. What is in the outbox stays. ",
      h("button", { type: "button", onclick: () => this.take() }, "take it now")));
  }

  /** Take the newer version, unless an entry is open here or in another tab. */
  async take(busy = () => this.app.say("An entry is open. Keep it or leave it first; the newer version waits.", "warning")) {
    const free = () => this.waiting.postMessage("take over");
    if (this.open) return busy();
    if (!navigator.locks) return free();
    return navigator.locks.request(ENTRY, { ifAvailable: true }, (lock) => (lock ? free() : busy()));
  }
}
