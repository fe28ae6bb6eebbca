/* A watch for relays and signals that are held forced. The time runs by the clock, so a screen that slept is right again. */

import { h } from "./dom.js";

/** Seconds that a point is held forced where nothing else is said (common practice, no source). */
export const HOLD_SECONDS = 15;

/** A watch of so many seconds; `since` is when it began, if it did. Answers the element; `element.stop()` ends it. */
export function watch(seconds, { since = null, began = () => undefined } = {}) {
  const shown = h("output", { class: "watch-time", "aria-live": "off" });
  const done = h("p", { class: "watch-done", role: "status" });
  const button = h("button", { type: "button", onclick: () => { start(Date.now()); began(); } }, `start ${seconds} s`);
  const element = h("div", { class: "timer", role: "group", "aria-label": `hold it for ${seconds} s` },
    h("p", {}, `Hold it for ${seconds} s.`), since === null && button, shown, done);
  let clock = 0;

  function start(at) {
    clearInterval(clock);
    done.textContent = "";
    clock = setInterval(() => tick(at), 200);
    tick(at);
  }

  function tick(at) {
    const gone = (Date.now() - at) / 1000;
    const left = Math.ceil(seconds - gone);
    shown.textContent = left > 0 ? `${left} s` : `${Math.floor(gone)} s held`;
    if (left > 0 || done.textContent) return;
    done.textContent = "Done: it may be let go.";
    globalThis.navigator.vibrate?.(400);
  }

  element.stop = () => clearInterval(clock);
  element.begin = start;
  if (since !== null) start(since);
  return element;
}
