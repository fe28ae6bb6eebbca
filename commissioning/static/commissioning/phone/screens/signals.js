/* Signal points: forced here, seen at the far end by a second person on their own phone, restored.
 * With signal the far end is asked through the server every two seconds; what is forced elsewhere stands first. */

import { h, mark, tag } from "../dom.js";
import { keep, seenOf } from "../keeping.js";
import { settle } from "../overlay.js";
import { Requests } from "../requests.js";
import { moment } from "../words.js";
import { HOLD_SECONDS, watch } from "../watch.js";
import { area, atHand, caution, field, notHere, place, waysOn } from "./parts.js";

const LOOK_EVERY = 2000;
const RULE = "A forced signal may trip or start plant: the control room agrees first and inhibits what it must. Nothing stays forced.";

export async function show(root, params, app) {
  const found = await atHand(app, params.system);
  if (!found) return notHere(root, app, params.system);
  const here = { ...found, app, root, chosen: params.signal ?? "", clock: null, far: [], known: "", failing: params.failed ?? "" };
  draw(here);
  const asking = setInterval(() => look(here), LOOK_EVERY);
  look(here);
  return () => { clearInterval(asking); here.clock?.stop(); };
}

/** Ask the server how the points stand; without signal the phone's own knowledge stays. */
async function look(here) {
  if (here.busy || !navigator.onLine || document.hidden) return;
  here.busy = true;
  try {
    const requests = new Requests({ fetch: (...given) => fetch(...given) });
    const page = await requests.get(here.app.code, `signals/?system=${here.system.id}&page_size=200`);
    const fresh = JSON.stringify(page.results.map((one) => [one.id, one.proof ?? one.state]));
    here.online = true;
    if (fresh !== here.known) await refreshed(here, page.results, fresh);
  } catch {
    if (here.online !== false) { here.online = false; draw(here); }
  } finally {
    here.busy = false;
  }
}

/** What the server says of each point, with what this phone has not sent yet laid over it. */
async function refreshed(here, rows, fresh) {
  here.known = fresh;
  const again = await atHand(here.app, here.system.id);
  for (const row of rows) {
    const signal = again.system.signals.find((one) => one.id === row.id);
    const proof = row.proof ?? null;
    if (!signal || signal.proof?.here && !signal.proof.sent) continue;
    signal.proof = proof && { ...proof, seen_by: proof.seen_by?.name ?? "" };
    settle(signal);
  }
  Object.assign(here, again);
  draw(here);
}

function draw(here) {
  const { root, system, app } = here;
  if (root.querySelector("form")?.contains(document.activeElement)) return; // nobody is interrupted while typing
  here.clock?.stop();
  here.clock = null;
  const mine = (one) => one.proof?.forced_by?.id === app.outbox.person?.id;
  const alone = here.bundle.project.far_end_by_second_person;
  const asked = system.signals.filter((one) => one.state === "forced" && !(mine(one) && alone));
  const own = system.signals.filter((one) => one.proof && !one.proof.restored_at && !asked.includes(one));
  const first = (one) => (one.id === here.chosen ? 0 : 1);
  const rest = system.signals.filter((one) => !asked.includes(one) && !own.includes(one)).sort((a, b) => first(a) - first(b));
  root.replaceChildren(place(system), h("h1", {}, "Signals"), caution("danger", RULE),
    asked.length ? h("section", { class: "asked" }, h("h2", {}, "Forced now: do you see it?"), asked.map((one) => seeing(here, one))) : "",
    own.length ? h("section", {}, h("h2", {}, "Forced and not restored"), own.map((one) => holding(here, one))) : "",
    h("section", {}, h("h2", {}, "Points"), rest.length ? h("ul", { class: "items" }, rest.map((one) => row(here, one))) : h("p", {}, system.signals.length ? "No other point." : "Every relay output and digital input belongs here. They come with the register.")),
    h("p", { class: "quiet" }, here.online === false || !navigator.onLine
      ? "No signal: what is forced at the other end cannot be shown, and the far end cannot be asked. Agree by radio; what you record here goes when the signal returns."
      : "Forced points at the other end show here within two seconds."), waysOn(system));
}

function about(one) {
  return [h("p", {}, tag(one.tag), ` ${one.description}`, h("span", { class: "quiet" }, ` ${one.direction_words}${one.far_end ? `; far end: ${one.far_end}` : ""}`))];
}

function row(here, one) {
  const stage = here.system.stages.find((row) => row.kind === one.stage_kind);
  const failed = one.proof?.failed_reason;
  return h("li", {}, h("div", {}, about(one), h("p", {}, mark(one.state), one.proof?.seen_at && `, seen by ${one.proof.seen_by || "somebody"}, ${moment(one.proof.seen_at)}`, failed && `, ${failed}`),
    stage?.state === "started" ? h("button", { type: "button", onclick: () => force(here, one) }, one.proof ? "force it again" : "force it now")
      : h("p", { class: "quiet" }, `Proved while ${stage?.words ?? "its stage"} is in hand.`)));
}

/** The far end's side: the person who did not force it says what is seen. */
function seeing(here, one) {
  const failing = here.failing === one.id;
  return h("div", { class: "signal-card" }, about(one), h("p", {}, `Forced by ${one.proof.forced_by?.name ?? "somebody"} at ${moment(one.proof.forced_at)}.`),
    failing ? failForm(here, one) : h("div", { class: "answers" },
      h("button", { type: "button", class: "main", onclick: () => step(here, one, "signal_seen", {}, `${one.tag} was seen at the far end.`) }, "I see it"),
      h("button", { type: "button", onclick: () => { here.failing = one.id; draw(here); } }, "I see something else, or nothing")));
}

function failForm(here, one) {
  const words = area({ name: "reason" });
  const reason = field("What the far end saw instead", words, { help: "Nothing, another point, the wrong text, the wrong way round." });
  const record = () => {
    reason.complain(words.value.trim() ? "" : "Say what the far end saw instead.");
    if (words.value.trim()) step(here, one, "signal_failed", { reason: words.value.trim() }, `${one.tag} was not seen.`);
  };
  return h("form", { class: "form", onsubmit: (event) => event.preventDefault() }, reason, h("button", { type: "button", class: "main", onclick: record }, "record what was seen"));
}

/** As long as the check line of this point says. */
function secondsOf(system, signal) {
  const lines = system.stages.flatMap((stage) => stage.lines).filter((line) => line.tag === signal.tag);
  return lines.find((line) => line.force_seconds)?.force_seconds ?? HOLD_SECONDS;
}

/** The near side: hold it for the time, wait for the far end, restore it. */
function holding(here, one) {
  const seconds = secondsOf(here.system, one);
  here.clock ??= watch(seconds, { since: new Date(one.proof.forced_at).getTime() });
  const told = one.state === "forced" ? `Waiting for the far end: a second person says on their own phone that it is seen.${one.proof.here && !one.proof.sent ? " This phone has not sent it yet." : ""}`
    : one.state === "seen" ? `Seen at the far end by ${one.proof.seen_by || "somebody"}. Restore it.` : `The far end: ${one.proof.failed_reason || "not seen"}. Restore it, put it right, then force it again.`;
  return h("div", { class: "signal-card" }, about(one), h("p", { role: "status" }, mark(one.state), `. ${told}`), here.clock,
    h("div", { class: "answers" }, h("button", { type: "button", class: "main", onclick: () => step(here, one, "signal_restored", {}, `${one.tag} is restored.`) }, "it is restored")));
}

/** Forcing goes at once: a far end that is asked ten seconds late sees nothing. It is taken back by restoring it. */
async function force(here, one) {
  const { app, bundle, system } = here;
  try {
    await app.outbox.add({ project: app.code, system: system.id, kind: "signal_forced", body: { signal: one.id }, seen: seenOf(bundle), hold: 0 });
    app.outbox.sendAll().catch(() => undefined); // what fails here is tried again by the outbox itself
    await renew(here);
  } catch (error) {
    app.say(error.message, "error");
  }
}

async function step(here, one, kind, more, words) {
  const { app, bundle, system } = here;
  here.failing = "";
  document.activeElement?.blur();
  const hold = kind === "signal_seen" ? { hold: 0 } : {};
  const entry = { system: system.id, kind, body: { proof: one.proof.id, ...more }, seen: seenOf(bundle), ...hold };
  if (await keep(app, [entry], words, { back: () => renew(here) })) await renew(here);
}

async function renew(here) {
  const again = await atHand(here.app, here.system.id);
  Object.assign(here, again, { known: "" });
  draw(here);
  look(here);
}
