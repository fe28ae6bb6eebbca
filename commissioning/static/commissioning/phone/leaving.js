/* Signing out on a phone: what was taken along goes. Entries that the server has not taken are named first, and stay.
 *
 * When nothing waits, the form tells the server so, and its answer clears what the browser keeps of the product. */

import { Store } from "./store.js";

const ENTRY = "entry open";

document.addEventListener("submit", (event) => {
  const form = event.target;
  if (!isSignOut(form) || form.dataset.settled) return;
  event.preventDefault();
  // A browser without a working store holds nothing: sign out as if there were no phone.
  settle(form).catch(() => go(form));
});

function isSignOut(form) {
  return form.method === "post" && /\/sign-out\/$/.test(new URL(form.action, location.href).pathname);
}

async function settle(form) {
  const known = await indexedDB.databases?.() ?? [{ name: "tracker" }];
  if (!known.some(({ name }) => name === "tracker")) return go(form);
  if (await entryOpen()) return say(form, "An entry is open on this phone in another tab. Keep it or leave it first, then sign out.", []);
  const store = new Store();
  const { unsent, photos } = await store.usage();
  if (unsent) return ask(form, store, unsent, photos);
  return leave(form, store);
}

/** True while an entry is open in some tab (update.js holds this lock then). */
async function entryOpen() {
  const held = (await navigator.locks?.query())?.held ?? [];
  return held.some((lock) => lock.name === ENTRY);
}

/** Drop what was taken along. What is unsent when that is done, and only that, decides whether the browser is cleared. */
async function leave(form, store) {
  const kept = await store.drop({ leaving: true });
  await store.close();
  if (!kept) {
    const field = document.createElement("input");
    Object.assign(field, { type: "hidden", name: "nothing_waits", value: "1" });
    form.append(field);
  }
  go(form);
}

function ask(form, store, unsent, photos) {
  const entries = unsent === 1 ? "1 entry" : `${unsent} entries`;
  const among = photos ? `, ${photos === 1 ? "1 photo" : `${photos} photos`} among them` : "";
  say(form, `${entries} on this phone ${unsent === 1 ? "is" : "are"} not on the server yet${among}. Sign out, and they stay here until you `
    + "sign in on this phone again; everything else that was taken along is removed.", [
    ["stay signed in", "main", (dialog) => dialog.close()],
    ["sign out, keep them here", "", () => leave(form, store)],
  ]);
}

function say(form, words, deeds) {
  const dialog = document.createElement("dialog");
  dialog.className = "leaving";
  const text = document.createElement("p");
  text.textContent = words;
  const toolbar = document.createElement("p");
  toolbar.className = "toolbar";
  for (const [label, look, act] of deeds.length ? deeds : [["close", "main", () => dialog.close()]]) {
    const button = document.createElement("button");
    Object.assign(button, { type: "button", textContent: label, className: look });
    button.addEventListener("click", () => act(dialog));
    toolbar.append(button);
  }
  dialog.append(text, toolbar);
  dialog.addEventListener("close", () => dialog.remove());
  document.body.append(dialog);
  dialog.showModal();
  release(form);
}

/** Other scripts may have shut the form while it was on its way. */
function release(form) {
  form.querySelectorAll("button").forEach((button) => { button.disabled = false; button.removeAttribute("aria-disabled"); });
  delete form.dataset.sent;
}

function go(form) {
  form.dataset.settled = "yes";
  form.submit();
}
