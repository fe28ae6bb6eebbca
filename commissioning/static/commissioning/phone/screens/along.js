/* What is on this phone: the systems taken along, how old they are, how much room they use; and taking others along. */

import { h, mark, tag } from "../dom.js";
import { NoSignal, SignIn } from "../requests.js";
import { age, many, moment, room } from "../words.js";

/** After so many hours the record has probably moved on. */
const OLD_HOURS = 12;

export async function show(root, params, app) {
  if (!app.code) return start(root, app);
  const bundle = await app.bundle();
  const chosen = new Set(bundle?.ids ?? []);
  if (params.take && !chosen.has(params.take)) {
    root.append(h("h1", {}, "Take along"), h("p", { role: "status" }, "Taking it along …"));
    if (await take(app, [...chosen, params.take])) return undefined;
    root.replaceChildren();
  }
  root.append(h("h1", {}, bundle ? bundle.project.name : "Take along"));
  if (bundle) root.append(held(bundle, app));
  else root.append(h("p", {}, "Nothing of this project is on this phone yet. Choose the systems of the day while there is signal; everything you record on them works without."));
  const others = h("section", { "aria-labelledby": "others" });
  root.append(others, await phone(app));
  await choose(others, chosen, bundle, app);
  return undefined;
}

/** The installed app starts here: the projects of which something is on the phone. */
async function start(root, app) {
  const bundles = await app.store.bundles();
  if (bundles.length === 1) return location.replace(`/p/${encodeURIComponent(bundles[0].code)}/phone/`);
  root.append(h("h1", {}, "On this phone"));
  const link = (bundle) => h("li", {}, h("a", { href: `/p/${encodeURIComponent(bundle.code)}/phone/` }, h("b", {}, bundle.project.name), ` ${many(bundle.systems.length, "system")}, taken along ${age(bundle.taken_at)}`));
  root.append(bundles.length
    ? h("ul", { class: "rows" }, bundles.map(link))
    : h("p", {}, "Nothing is taken along yet. Open a system while there is signal, and tap ‘take along’."));
  root.append(await phone(app));
  app.actions(root, h("a", { class: "button", href: "/" }, "projects"));
  return undefined;
}

/** What is taken along: each system with where it stands, and how old all of it is. */
function held(bundle, app) {
  const old = (Date.now() - new Date(bundle.taken_at)) / 3600_000 > OLD_HOURS;
  return h("section", { "aria-labelledby": "held" },
    h("h2", { id: "held" }, "On this phone"),
    h("p", { class: "age" }, `As it stood ${age(bundle.taken_at)}, ${moment(bundle.taken_at)}. `,
      old && h("b", {}, "That is old: take it along again before you rely on it.")),
    h("ul", { class: "rows" }, bundle.systems.map((system) => row(system, bundle, app))));
}

function row(system, bundle, app) {
  const stage = system.stages.find((one) => one.state !== "accepted");
  const done = stage?.lines.filter((line) => line.done).length;
  const leave = async () => {
    const ids = bundle.ids.filter((id) => id !== system.id);
    await app.store.keepBundle(bundle.code, { ...bundle, ids, systems: bundle.systems.filter((one) => one.id !== system.id) });
    await app.show();
    app.say(`${system.tag} is not on this phone any more. What you recorded on it stays in the outbox.`);
  };
  return h("li", {},
    h("a", { class: "system", href: `#/systems/${system.id}` }, h("b", {}, tag(system.tag), ` ${system.name}`),
      h("span", {}, stage ? `${stage.words}: ${done} of ${many(stage.lines.length, "line")} done` : "every stage accepted",
        system.punch_items.length ? `, ${many(system.punch_items.length, "open item")}` : ""),
      system.energy.state === "live" && mark("LIVE")),
    h("button", { type: "button", class: "plain", onclick: leave, "aria-label": `take ${system.tag} off this phone` }, "take off"));
}

/** The other systems of the project, to be ticked; one tap takes all that are ticked along. */
async function choose(section, chosen, bundle, app) {
  const button = h("button", { type: "button", class: "main", onclick: () => take(app, [...chosen]) });
  const count = () => { button.textContent = chosen.size ? `take ${many(chosen.size, "system")} along` : "tick what to take along"; };
  count();
  app.actions(section, bundle && h("a", { class: "button", href: "#/snag" }, "log a snag"), button);
  let systems;
  try {
    systems = await app.along.choices(app.code);
  } catch (error) {
    if (error instanceof SignIn) return section.append(signIn(app));
    if (!(error instanceof NoSignal)) return section.append(h("p", { class: "quiet" }, error.message));
    if (!bundle) app.actions(section);
    return section.append(h("p", { class: "quiet" }, "No signal: other systems can be taken along when it returns."));
  }
  const tick = (system) => (event) => {
    chosen[event.target.checked ? "add" : "delete"](system.id);
    count();
  };
  section.append(h("h2", { id: "others" }, "Systems to take along"), h("ul", { class: "rows ticks" }, systems.map((system) =>
    h("li", {}, h("label", { class: "tick" },
      h("input", { type: "checkbox", checked: chosen.has(system.id), onchange: tick(system) }),
      h("span", {}, h("b", {}, tag(system.tag), ` ${system.name}`), ` ${system.site_code}`))))));
  return undefined;
}

function signIn(app) {
  return h("p", {}, "Your session has ended. Everything on this phone is kept. ", h("a", { href: app.signInUrl() }, "sign in"), " to take along and to send.");
}

/** Take these along; true when it worked. What stood before stays when it does not. */
async function take(app, ids) {
  if (!ids.length) return app.say("Tick the systems of the day first.", "warning");
  app.say("Taking along …");
  try {
    const bundle = await app.along.take(app.code, ids);
    const missing = bundle.missing.length ? ` ${many(bundle.missing.length, "system is", "systems are")} not yours to see any more.` : "";
    if (location.hash.includes("take=")) history.replaceState(null, "", "#/");
    await app.show();
    app.say(`${many(bundle.systems.length, "system")} taken along.${missing}`);
    return true;
  } catch (error) {
    await app.show.call(app, "again");
    app.say(error instanceof SignIn ? "Sign in first, then take it along." : error.message, "warning",
      error instanceof SignIn && h("a", { href: app.signInUrl() }, " sign in"));
    return false;
  }
}

/** Room, persistence, what waits, whose phone it is, and what never works here. */
async function phone(app) {
  const [usage, person, skew] = await Promise.all([app.store.usage(), app.store.note("person"), app.store.note("skew")]);
  const ask = async () => {
    const kept = await navigator.storage?.persist?.();
    await app.show();
    app.say(kept ? "This browser keeps it until you remove it." : "This browser does not promise it. Install the app (browser menu), then ask again.", kept ? "success" : "warning");
  };
  const waits = usage.unsent
    ? `${many(usage.unsent, "entry", "entries")} not on the server yet${usage.photos ? `, ${many(usage.photos, "photo")} among them` : ""}`
    : "nothing: all arrived";
  return h("section", { "aria-labelledby": "phone" },
    h("h2", { id: "phone" }, "This phone"),
    h("dl", { class: "facts" },
      h("dt", {}, "waits to be sent"), h("dd", {}, h("a", { href: "#/outbox" }, waits)),
      h("dt", {}, "room used"), h("dd", {}, `${room(usage.used)} of ${room(usage.quota)} that this browser allows`),
      h("dt", {}, "kept safe"), h("dd", {}, usage.persisted ? "yes, this browser keeps it" : ["not promised: the browser may clear it when the phone runs short of room. ", h("button", { type: "button", class: "plain", onclick: ask }, "ask to keep it")]),
      person && [h("dt", {}, "records as"), h("dd", {}, person.name)],
      Math.abs(skew ?? 0) > 60 && [h("dt", {}, "clock"), h("dd", {}, `${Math.round(Math.abs(skew) / 60)} min ${skew > 0 ? "slow" : "fast"}: the server corrects the times; set the phone's clock`)]),
    h("p", {}, "Accepting a gate, releasing a supply and signing a permission to energise need signal: the phone cannot know what happened elsewhere. They are done on the pages of the project."),
    app.code && h("p", {}, h("a", { href: `/p/${encodeURIComponent(app.code)}/` }, "pages of the project"), " (need signal)"));
}
