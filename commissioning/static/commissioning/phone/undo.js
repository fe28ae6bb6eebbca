/* Undo for ten seconds: what was just kept is held back in the outbox, and one press takes it out again. An answer on a
 * line that went at once, because others look on, is reopened (taking_back.js).
 * The bar stands over the actions and stays while the screen changes behind it. */

import { h } from "./dom.js";
import { UNDO_MILLISECONDS } from "./outbox.js";
import { takeBack } from "./taking_back.js";

let standing = null;

/** Offer to take `items` back until the last of them may be sent, or for as long where they went `atOnce`; `back` is
 * called when they were. */
export function offerUndo(app, items, words, back, { atOnce = false } = {}) {
  withdraw();
  const until = Math.max(...items.map((item) => item.hold_until)) + (atOnce ? UNDO_MILLISECONDS : 0);
  const left = h("span", { class: "left", "aria-hidden": "true" });
  const button = h("button", { type: "button" }, "undo ", left);
  const bar = h("div", { class: "undo-bar" }, h("p", { role: "status" }, words), button);
  const tick = () => {
    const seconds = Math.ceil((until - Date.now()) / 1000);
    if (seconds <= 0) return withdraw();
    left.textContent = `${seconds} s`;
    return undefined;
  };
  button.addEventListener("click", async () => {
    withdraw();
    try {
      const done = await takeBack(app, items);
      await back();
      app.say(done, "success");
    } catch (error) {
      app.say(error.message, "error");
    }
  });
  document.querySelector(".thumb-bar").before(bar);
  standing = { bar, clock: setInterval(tick, 250) };
  tick();
}

export function withdraw() {
  if (!standing) return;
  clearInterval(standing.clock);
  standing.bar.remove();
  standing = null;
}
