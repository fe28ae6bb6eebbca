/* The phone's app: header with the state of sending, the energy of the system at hand on every screen, the screens. */

import { h, shape, tag } from "./dom.js";
import "./hand.js";
import { Live } from "./live.js";
import { Outbox } from "./outbox.js";
import { NoSignal, SignIn } from "./requests.js";
import { route, screen } from "./routes.js";
import { store } from "./store.js";
import { TakeAlong } from "./taking.js";
import { Update } from "./update.js";
import { age, many } from "./words.js";

class App extends EventTarget {
  constructor() {
    super();
    const body = document.body.dataset;
    this.version = body.version;
    this.signIn = body.signIn;
    this.store = store;
    this.outbox = new Outbox();
    this.along = new TakeAlong(this);
    this.update = new Update(this);
    this.live = new Live(this);
    this.code = decodeURIComponent(location.pathname.match(/^\/p\/([^/]+)\//)?.[1] ?? "");
    this.root = document.querySelector("main");
    this.leave = null;
    this.shown = 0;
    this.kept = 0;
  }

  /** The calculations, as the server has them. */
  formulas() {
    return import(document.body.dataset.formulas);
  }

  /** What was taken along of this project, or undefined. */
  bundle() {
    return this.code ? store.bundle(this.code) : Promise.resolve(undefined);
  }

  async system(id) {
    return (await this.bundle())?.systems.find((system) => system.id === id);
  }

  /** To another screen; answered when it is shown. */
  go(hash) {
    if (location.hash !== hash) history.pushState(null, "", hash);
    return this.show();
  }

  /** An entry is open on the screen: no newer version is taken while it is. Call again with false when it is kept or left. */
  entry(open) {
    return this.update.entry(open);
  }

  /** One sentence above the screen; `kind` is "success", "warning" or "error". */
  say(words, kind = "success", ...actions) {
    const news = document.querySelector(".phone-news");
    const line = words ? [h("p", { class: `news ${kind}` }, words, ...actions)] : [];
    news.querySelectorAll(".news:not(.update)").forEach((one) => one.remove());
    news.append(...line);
  }

  /** Entries of a project that the person has left are asked about until they are looked at: nothing goes by itself. */
  asks() {
    this.say(`You are not in that project any more. ${many(this.kept, "entry of it was", "entries of it were")} not sent, and nothing is dropped by itself: `, "warning",
      h("a", { href: "#/outbox" }, "keep or drop them"));
  }

  /** Buttons and links at the thumb, for the screen that `within` stands on: one that was left while it waited has no say. */
  actions(within, ...elements) {
    if (!within.isConnected) return;
    document.querySelector(".thumb-bar").replaceChildren(...elements.filter(Boolean));
  }

  /** True while a new drawing of the screen would take something from the person: typed, chosen or held. */
  busy() {
    return Boolean(this.update.open || this.root.querySelector("form :focus, .mending, .watch-time:not(:empty)"));
  }

  /** The screen at hand once more with what is known now; nobody is moved from where they read. */
  async redraw() {
    const [top, at] = [scrollY, document.activeElement?.closest("main a[href]")?.getAttribute("href")];
    await this.show({ again: true });
    scrollTo(0, top);
    if (at) this.root.querySelector(`a[href="${CSS.escape(at)}"]`)?.focus({ preventScroll: true });
  }

  async show({ again = false } = {}) {
    const turn = ++this.shown;
    await this.leave?.();
    this.leave = null;
    this.entry(false);
    const { name, params } = this.elsewhere() ?? route(location.hash);
    const [module, bundle] = await Promise.all([
      screen(name).catch((error) => { console.error(error); return screen("nowhere"); }), this.bundle(),
    ]);
    if (turn !== this.shown) return;
    this.outbox.person = bundle?.person ?? this.outbox.person;
    if (!again) this.say("");
    if (name === "outbox") this.kept = 0;
    if (this.kept) this.asks();
    this.actions(this.root);
    this.energy(bundle, params.system);
    const root = h("div", { class: `screen screen-${name}` });
    this.root.replaceChildren(root);
    try {
      const leave = await module.show(root, params, this);
      if (turn !== this.shown) return void await leave?.();
      this.leave = leave ?? null;
    } catch (error) {
      console.error(error);
      root.replaceChildren(h("h1", {}, "This cannot be shown"), h("p", {}, error.message), h("p", {}, h("a", { class: "button", href: "#/" }, "what is on this phone")));
    }
    if (turn !== this.shown) return;
    this.live.follow(name, params, await this.bundle());
    this.update.look();
    if (again) return;
    if (turn > 1) this.root.focus({ preventScroll: true });
    scrollTo(0, 0);
  }

  /** A page of the server that was opened with no signal: the worker answered with this document. */
  elsewhere() {
    const here = /^\/(phone\/|p\/[^/]+\/phone\/)$/.test(location.pathname);
    return here ? null : { name: "without_signal", params: {} };
  }

  /** What is recorded of the energy of the system at hand; without one, every system that is recorded LIVE. */
  energy(bundle, id) {
    const systems = bundle?.systems ?? [];
    const shown = id ? systems.filter((system) => system.id === id) : systems.filter((system) => system.energy.state === "live");
    document.querySelector(".phone-energy").replaceChildren(...shown.map((system) => banner(system, bundle)));
    document.body.classList.toggle("has-live", shown.some((system) => system.energy.state === "live"));
  }

  /** The state of sending, in words, at the head of every screen. */
  async head() {
    const counts = await this.outbox.counts();
    const { kind, words } = this.outbox.sender.trouble;
    const unsent = counts.waiting + counts.sending;
    const link = document.querySelector(".sending-state");
    const parts = [];
    if (!navigator.onLine || kind === "no signal") parts.push("no signal");
    else if (kind === "sign in") parts.push("sign in to send");
    if (counts["needs you"]) parts.push(many(counts["needs you"], "needs you", "need you"));
    if (unsent) parts.push(counts.sending ? `sending ${unsent}` : `${unsent} waiting`);
    const state = counts["needs you"] ? "sent back" : parts.length ? "waiting" : "done";
    const said = parts.join(", ") || "all arrived";
    if (link.textContent !== said) {
      link.replaceChildren(shape(state), said);
      link.className = `sending-state state s-${state.replace(" ", "-")}`;
    }
    link.title = words;
  }

  async begin() {
    addEventListener("hashchange", () => this.show());
    this.outbox.addEventListener("change", () => this.head());
    this.outbox.addEventListener("held", ({ detail }) => { this.kept += detail; this.asks(); });
    for (const name of ["online", "offline"]) addEventListener(name, () => this.head());
    await this.outbox.wake();
    this.outbox.person = (await store.note("person")) ?? null;
    await Promise.all([this.show(), this.head()]);
    this.update.start();
    await this.whose();
    this.outbox.sender.start();
  }

  /** Whose phone it is now: what somebody else took along goes, what they recorded waits for them. */
  async whose() {
    try {
      const person = await this.along.requests.person();
      const before = await store.note("person");
      if (before && before.id !== person.id) {
        await store.drop();
        await this.show();
        this.say(`What ${before.name} had taken along is not on this phone any more.`, "warning");
      }
      await store.keepNote("person", person);
      this.outbox.person = person;
    } catch (error) {
      if (!(error instanceof NoSignal || error instanceof SignIn)) throw error;
    }
  }

  /** Where to sign in and come back to this screen. */
  signInUrl() {
    return `${this.signIn}?next=${encodeURIComponent(location.pathname + location.hash)}`;
  }
}

function banner(system, bundle) {
  const state = { live: "live", recorded_isolated: "recorded-isolated" }[system.energy.state] ?? "not-recorded";
  return h("div", { class: `energy s-${state}`, role: "region", "aria-label": `energy of ${system.tag}` },
    shape(state), h("strong", { class: "says" }, system.energy.words),
    h("span", { class: "what" }, tag(system.tag), ` as recorded ${age(bundle.taken_at)}`),
    system.battery && h("span", { class: "battery" }, batteryWords(system.battery.state)));
}

function batteryWords(state) {
  if (state === "open") return "battery: links or fuses recorded open; its terminals stay live";
  if (state === "closed") return "battery: links or fuses recorded closed; LIVE";
  return "battery: not recorded; treat as LIVE, its terminals stay live in any case";
}

export const app = new App();
app.begin();

