/* What others record on the system at hand: asked for each second while there is signal and the screen is seen.
 *
 * The question is short and is answered 304 while nothing has happened, so that it passes every proxy. When something has,
 * the one system is taken along anew and the screen is drawn with it; where somebody types, it is only said. */

import { h } from "./dom.js";
import { Left, NoSignal, SignIn } from "./requests.js";
import { atHand } from "./screens/parts.js";
import { blockersOf } from "./work.js";

export const EVERY = 1000;
const AGAIN = 4000;
/** Screens of one system that are drawn anew. The others hold a form, or ask for themselves. */
const FOLLOWED = ["system", "stage", "line"];

export class Live {
  constructor(app) {
    this.app = app;
    this.at = null; // what is looked on: {code, id, number, name, params}
    this.heard = 0; // when the server last answered
    this.timer = null;
    document.addEventListener("visibilitychange", () => this.soon());
    addEventListener("online", () => this.soon());
  }

  /** True while the server answers from second to second: what is sent now is there at once. */
  get on() {
    return navigator.onLine && Date.now() - this.heard < 3 * EVERY;
  }

  /** A screen has been shown: look on at its system, or at none. */
  follow(name, params, bundle) {
    const system = FOLLOWED.includes(name) ? bundle?.systems.find((one) => one.id === params.system) : null;
    if (!system) return this.stop();
    const same = this.at?.id === system.id && this.at.code === this.app.code;
    const number = same ? this.at.number : null;
    this.at = { code: this.app.code, id: system.id, number, head: system.head ?? bundle.head, name, params };
    return same ? undefined : this.soon();
  }

  stop() {
    this.at = null;
    clearTimeout(this.timer);
  }

  soon(wait = 0) {
    clearTimeout(this.timer);
    if (this.at) this.timer = setTimeout(() => this.look(), wait);
  }

  async look() {
    const { at, app } = this;
    if (!at || this.asking || document.visibilityState !== "visible" || !navigator.onLine) return;
    this.asking = true;
    let wait = EVERY;
    try {
      const answer = await app.along.requests.unless(at.code, `systems/${at.id}/change/`, at.number);
      this.heard = Date.now();
      if (answer) await this.changed(at, answer.change);
    } catch (error) {
      wait = await this.trouble(at, error);
    } finally {
      this.asking = false;
    }
    if (wait) this.soon(this.at && this.at.id !== at.id ? 0 : wait);
  }

  /** How long to wait after a trouble; 0 where there is nothing to look at any more. */
  async trouble(at, error) {
    if (error instanceof Left) return this.gone(at);
    if (!(error instanceof NoSignal || error instanceof SignIn)) console.error(error);
    return AGAIN;
  }

  /** The system is not to be seen any more, or the whole project is not: what was taken along of it goes. */
  async gone(at) {
    try {
      await this.app.along.renew(at.code, at.id);
    } catch (error) {
      if (!(error instanceof Left)) return AGAIN;
      await this.app.along.left(at.code, error);
    }
    await this.app.show();
    return 0;
  }

  /** Take the system along anew where its number is higher than what is known of it. */
  async changed(at, number) {
    const known = at.number ?? at.head;
    if (number > known) {
      const before = await this.app.system(at.id);
      await this.app.along.renew(at.code, at.id);
      if (this.at?.id === at.id) await this.redraw(before);
    }
    if (this.at?.id === at.id) this.at.number = number;
  }

  /** The screen with what is new; on a line only when something is new for it, and never over what is being typed. */
  async redraw(before) {
    const { app, at } = this;
    const after = await app.system(at.id);
    const news = newsOf(before, after, app.outbox.person?.id);
    const [old, now] = [before, after].map((system) => lineOf(at, system));
    const other = at.name !== "line" || old.line !== now.line || old.way !== now.way;
    if (!app.busy()) {
      if (other) await app.redraw();
      if (news) app.say(news);
    } else if (news || old.way !== now.way) {
      app.say(`${news || "What may be done here has changed."} What you have typed is still here. `, "warning",
        h("button", { type: "button", class: "plain", onclick: () => app.show() }, "show it as it stands now"));
    }
    await atHand(app, at.id); // the energy of the system is shown as it is recorded now, whatever is being typed
  }
}

/** How a line stands and what is in its way, to be compared. */
function lineOf({ params }, system) {
  const stage = system?.stages.find((one) => one.id === params.stage);
  const line = stage?.lines.find((one) => one.id === params.line);
  const way = line ? blockersOf({ line, stage, energy: system.energy.state }).map((one) => one.code) : [];
  return { line: JSON.stringify(line), way: JSON.stringify([stage?.state, way]) };
}

/** In a sentence what others have answered since. */
function newsOf(before, after, me) {
  const known = new Map((before?.stages ?? []).flatMap((stage) => stage.lines).map((line) => [line.id, line]));
  const fresh = (after?.stages ?? []).flatMap((stage) => stage.lines).filter((line) => {
    const old = known.get(line.id);
    return line.standing && line.standing.by_id !== me && JSON.stringify(old?.standing) !== JSON.stringify(line.standing);
  });
  const [first] = fresh;
  if (!first) return "";
  const more = fresh.length > 1 ? ` And ${fresh.length - 1} more.` : "";
  return `${first.standing.by}: ${first.title}: ${first.standing.words ?? first.state}.${more}`;
}
