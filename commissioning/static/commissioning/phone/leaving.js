/* Signing out on a phone: what was taken along goes. Entries that the server has not taken are listed first; each stays,
 * unless the person ticks it to be dropped and says why.
 *
 * When nothing waits, the form tells the server so, and its answer clears what the browser keeps of the product. */

import { KINDS } from "./kinds.js";
import { Store, isUnsent } from "./store.js";
import { moment } from "./words.js";

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
  if (unsent) return ask(form, store, unsent, photos, await listed(store));
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

/** Entries that the server has not taken, in order, each in words; only one's own can be dropped. */
async function listed(store) {
  const [person, bundles, items] = [await store.note("person"), await store.bundles(), await store.within(["outbox"], "readonly",
    (outbox) => new Promise((resolve) => { const asked = outbox.index("seq").getAll(); asked.onsuccess = () => resolve(asked.result); }))];
  const systems = new Map(bundles.flatMap((bundle) => bundle.systems).map((system) => [system.id, system]));
  return items.filter(isUnsent).map((item) => {
    const system = systems.get(item.system);
    const line = system?.stages.flatMap((stage) => stage.lines).find((one) => one.id === item.body?.line);
    const about = [system?.tag ?? item.project, line?.title ?? item.body?.text ?? item.body?.caption].filter(Boolean).join(", ");
    const refused = item.state === "needs you" ? `; not taken: ${item.reason}` : item.tried ? "; sent, and no answer came" : "";
    const own = !item.by || item.by === person?.id;
    return { id: item.id, own, words: `${KINDS[item.kind] ?? item.kind}, ${about}, ${moment(item.made_at)}${own ? "" : `, by ${item.by_name}`}${refused}` };
  });
}

function ask(form, store, unsent, photos, rows) {
  const entries = unsent === 1 ? "1 entry" : `${unsent} entries`;
  const among = photos ? `, ${photos === 1 ? "1 photo" : `${photos} photos`} among them` : "";
  const list = made("ol", { className: "entries" }, ...rows.map(row));
  const reason = made("input", { type: "text", name: "drop_reason", id: "drop-reason", autocomplete: "off" });
  const wrong = made("p", { className: "wrong-words" });
  wrong.setAttribute("role", "alert");
  const why = made("p", { className: "field", hidden: true }, made("label", { htmlFor: reason.id }, "Why are the ticked ones dropped?"), reason, wrong);
  const ticked = () => [...list.querySelectorAll("input:checked")].map((one) => one.value);
  list.addEventListener("change", () => { why.hidden = !ticked().length; });
  const out = async () => {
    try {
      if (ticked().length) await drop(store, ticked(), reason.value);
      await leave(form, store);
    } catch (error) {
      wrong.textContent = error.message;
      reason.focus();
    }
  };
  say(form, `${entries} on this phone ${unsent === 1 ? "is" : "are"} not on the server yet${among}. Sign out, and they stay here until you `
    + "sign in on this phone again; everything else that was taken along is removed. Tick what is to be dropped for good.", [
    ["stay signed in", "main", (dialog) => dialog.close()],
    ["sign out, keep them here", "", out],
  ], list, why);
  list.addEventListener("change", () => {
    const button = document.querySelector("dialog.leaving .toolbar button:last-child");
    button.textContent = !ticked().length ? "sign out, keep them here" : ticked().length === rows.length ? "drop them and sign out" : "drop the ticked, keep the rest, sign out";
  });
}

function row({ id, own, words }) {
  if (!own) return made("li", {}, words);
  return made("li", {}, made("label", { className: "tick" }, made("input", { type: "checkbox", value: id }), " ", made("span", {}, words)));
}

/** The server is told first of what it had refused: the reason stays there on record. */
async function drop(store, ids, reason) {
  const { Outbox } = await import("./outbox.js");
  const outbox = new Outbox({ store });
  for (const item of await outbox.leaveBehind(ids, reason)) await outbox.sender.tell(item);
}

function made(name, given, ...children) {
  const element = Object.assign(document.createElement(name), given);
  element.append(...children);
  return element;
}

function say(form, words, deeds, ...more) {
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
  dialog.append(text, ...more, toolbar);
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
