/* The outbox: what was recorded on this phone, by system, in words; what the server refused, to be mended or dropped. */

import { h, mark, tag } from "../dom.js";
import { kindWords } from "../outbox.js";
import { many, moment } from "../words.js";
import { mendForm, thing } from "./outbox_parts.js";

const ORDER = ["needs you", "sending", "waiting"];

export async function show(root, params, app) {
  const busy = () => root.querySelector(".mending");
  const draw = async () => {
    if (busy()) return; // somebody types: the list is drawn anew when the form is closed
    const [items, bundles] = await Promise.all([app.outbox.list(), app.store.bundles()]);
    if (!busy()) root.replaceChildren(...page(items, places(bundles), app, draw));
  };
  const changed = () => { draw(); };
  app.outbox.addEventListener("change", changed);
  app.actions(root,
    h("button", { type: "button", class: "main", onclick: () => { app.outbox.sender.failures = 0; app.outbox.sendAll(); } }, "send now"),
    h("a", { class: "button", href: "#/" }, "on this phone"));
  await draw();
  return () => app.outbox.removeEventListener("change", changed);
}

function page(items, known, app, draw) {
  const open = items.filter((item) => ORDER.includes(item.state));
  const closed = items.filter((item) => !ORDER.includes(item.state)).reverse();
  const { kind, words } = app.outbox.sender.trouble;
  const systems = Map.groupBy ? Map.groupBy(open, (item) => item.system) : grouped(open);
  return [
    h("h1", {}, "Outbox"),
    h("p", {}, open.length ? `${many(open.length, "entry is", "entries are")} not on the server yet.` : "Everything that was recorded on this phone has arrived."),
    words && h("p", { class: "news warning" }, words, " ", kind === "sign in" && h("a", { href: app.signInUrl() }, "sign in")),
    ...[...systems].map(([id, own]) => h("section", {},
      h("h2", {}, known.systems.has(id) ? [tag(known.systems.get(id).tag), ` ${known.systems.get(id).name}`] : `A system of ${own[0].project}`),
      h("ol", { class: "rows entries" }, ORDER.flatMap((state) => own.filter((item) => item.state === state)).map((item) => entry(item, known, app, draw))))),
    closed.length > 0 && h("details", { class: "arrived", open: !open.length },
      h("summary", {}, `${many(closed.length, "entry", "entries")} settled in the last seven days`),
      h("ol", { class: "rows entries" }, closed.map((item) => entry(item, known, app, draw)))),
  ].filter(Boolean);
}

function entry(item, known, app, draw) {
  const row = h("li", { class: "entry", "data-id": item.id },
    h("p", { class: "what" }, h("b", {}, kindWords(item)), " ", thing(item, known), " ", mark(item.state)),
    h("p", { class: "quiet" }, `recorded ${moment(item.made_at)}${item.by_name ? ` by ${item.by_name}` : ""}`),
    item.state === "needs you" && h("p", { class: "reason" }, item.reason),
    item.state === "dropped" && h("p", {}, `Dropped: ${item.drop_reason}`),
    (item.sentences ?? []).filter((words) => words !== item.reason).map((words) => h("p", {}, words)),
    difference(item));
  if (item.state === "needs you") row.append(deeds(item, row, app, draw));
  if (item.state === "waiting" && !item.tried && item.hold_until > Date.now()) {
    row.append(h("p", { class: "toolbar" }, h("button", { type: "button", onclick: () => undo(item, app) }, "undo")));
  }
  if (item.state === "arrived" && item.result?.url) row.append(h("p", {}, h("a", { href: item.result.url }, "see it on its page")));
  return row;
}

/** The server's verdict counts; one that differs from what the phone said is shown, never hidden. */
function difference(item) {
  const said = item.body?.phone_verdict?.verdict ?? item.body?.verdict;
  if (!said || !item.reading || said === item.reading.verdict) return null;
  return h("p", { class: "reason" }, `The server's verdict is ‘${item.reading.words}’; the phone said ‘${String(said).replaceAll("_", " ")}’. The server's counts.`);
}

function deeds(item, row, app, draw) {
  const close = () => { row.querySelector(".mending")?.remove(); return draw(); };
  const open = (form) => { row.querySelector(".mending")?.remove(); row.append(form); form.querySelector("input, textarea, select")?.focus(); };
  const guarded = (act) => async (...given) => {
    try {
      await act(...given);
      await close();
    } catch (error) {
      app.say(error.message, "error");
    }
  };
  const again = guarded(() => app.outbox.again(item.id));
  const dropForm = () => h("form", { class: "mending", onsubmit: (event) => { event.preventDefault(); guarded(() => app.outbox.drop(item.id, event.target.elements.reason.value))(); } },
    h("p", { class: "field" }, h("label", { for: `drop-${item.id}` }, "Why is it dropped? The reason stays on record."),
      h("textarea", { id: `drop-${item.id}`, name: "reason", required: true })),
    h("p", { class: "toolbar" }, h("button", { class: "main" }, "drop it"), h("button", { type: "button", onclick: close }, "keep it here")));
  return h("p", { class: "toolbar" },
    item.local ? h("button", { type: "button", class: "main", onclick: again }, "send it again")
      : h("button", { type: "button", class: "main", onclick: () => open(mendForm(item, guarded((body) => app.outbox.mend(item.id, body)), close)) }, "mend it"),
    h("button", { type: "button", onclick: () => open(dropForm()) }, "drop it"));
}

async function undo(item, app) {
  try {
    await app.outbox.undo(item.id);
    app.say("Taken back. It was not sent.");
  } catch (error) {
    app.say(error.message, "warning");
  }
}

/** What ids stand for, from what is taken along. */
function places(bundles) {
  const systems = new Map();
  const things = new Map();
  for (const system of bundles.flatMap((bundle) => bundle.systems)) {
    systems.set(system.id, system);
    for (const stage of system.stages) for (const line of stage.lines) things.set(line.id, { words: `${line.position}. ${line.title}`, href: `#/systems/${system.id}/run/${stage.id}/${line.id}` });
    for (const one of [...system.supplies, ...system.signals]) things.set(one.id, { words: `${one.tag} ${one.description}` });
    for (const one of system.signals) if (one.proof) things.set(one.proof.id, { words: `${one.tag} ${one.description}` });
    for (const one of system.punch_items) things.set(one.id, { words: `${one.label} ${one.text}` });
  }
  return { systems, things };
}

function grouped(items) {
  const found = new Map();
  for (const item of items) found.set(item.system, [...(found.get(item.system) ?? []), item]);
  return found;
}
