/* A snag on the list in under twenty seconds: where, a photo, how bad, a few words, done. */

import { h, tag } from "../dom.js";
import { keep, seenOf } from "../keeping.js";
import { markOn } from "../marks.js";
import { MOST, prepared } from "../photos.js";
import { NoSignal } from "../requests.js";
import { scanner } from "../scan.js";
import { matching, tagMeant, tagsOf } from "../tags.js";
import { area, choices, field, notHere, text, waysOn } from "./parts.js";

const CATEGORIES = [["A", "A", "before this stage's gate"], ["B", "B", "before handover"], ["C", "C", "carried over"]];
const PLACE = "tag of the last snag";

/** What was taken back by undo, so that nothing has to be typed again. */
let draft = null;

export async function show(root, params, app) {
  const bundle = await bundleFor(app, params) ?? await brought(root, app, params);
  if (!bundle) return notHere(root, app, params.system);
  app.outbox.person = bundle.person;
  const tags = tagsOf(bundle);
  const before = draft ?? { place: await placeOf(tags, params, app), line: params.line ?? null, photos: [], text: params.text ?? "", category: params.line ? "A" : "" };
  draft = null;
  const entry = { id: crypto.randomUUID(), place: before.place, line: before.line, photos: before.photos };
  const where = await whereField(app, tags, entry, params);
  const photos = photosField(app, bundle, entry);
  const bad = choices("How bad is it?", "category", CATEGORIES, { chosen: before.category, className: "how-bad" });
  const words = area({ name: "text", rows: 3, maxlength: 4000, value: before.text });
  const said = field("What is wrong?", words);
  root.append(h("h1", {}, "Log a snag"),
    h("form", { class: "form", onsubmit: (event) => event.preventDefault(), oninput: () => app.entry(true) }, where.element, photos, bad, said),
    waysOn(entry.place?.system));
  app.actions(root, h("button", { type: "button", class: "main", onclick: () => record({ app, bundle, entry, where, bad, words, said }) }, "keep the snag"));
  return () => where.stop();
}

/** The project at hand; opened by a label, the project on this phone that has its tag. */
async function bundleFor(app, params) {
  const own = await app.bundle();
  if (own) return params.system && !own.systems.some((one) => one.id === params.system) ? null : own;
  const all = await app.store.bundles();
  const found = all.find((bundle) => params.tag && tagMeant(tagsOf(bundle), params.tag)) ?? (all.length === 1 ? all[0] : null);
  if (found) app.code = found.code;
  return found ?? null;
}

/** The system of a tag's page, taken along by the way beside what is here; null where that cannot be. */
async function brought(root, app, { system }) {
  if (!app.code || !system) return null;
  root.append(h("p", { role: "status" }, "Taking its system along …"));
  try {
    return await app.along.take(app.code, [...((await app.bundle())?.ids ?? []), system]);
  } catch (error) {
    if (!(error instanceof NoSignal)) app.say(error.message, "warning");
    return null;
  } finally {
    root.replaceChildren();
  }
}

/** Where it is: the tag of the label or the link, the line's own, the system's; else the last place on this phone. */
async function placeOf(tags, params, app) {
  if (params.tag) return tagMeant(tags, params.tag);
  const system = tags.find((one) => one.system.id === params.system && !one.equipment);
  const line = system?.system.stages.flatMap((stage) => stage.lines).find((one) => one.id === params.line);
  if (line) return tags.find((one) => one.equipment?.id === line.equipment) ?? system;
  return system ?? tagMeant(tags, (await app.store.note(PLACE)) ?? "") ?? null;
}

async function whereField(app, tags, entry, params) {
  const input = text({ name: "tag", role: "combobox", "aria-expanded": "false", "aria-controls": "tags-found", autocapitalize: "characters", spellcheck: "false", value: entry.place?.tag ?? (params.tag ?? "") });
  const list = h("ul", { id: "tags-found", class: "tags-found", hidden: true });
  const chosen = h("p", { class: "chosen-place" });
  const element = field("Where: the tag", input, { after: [chosen, list] });
  const say = () => {
    const { place } = entry;
    const live = place?.system.energy.state === "live";
    chosen.replaceChildren(...(place ? [`${place.words}`, place.equipment ? [", ", tag(place.system.tag)] : ", the system as a whole", live ? h("b", {}, " · LIVE") : ""].flat() : []));
    if (place) app.energy({ systems: [place.system], taken_at: place.taken_at ?? new Date().toISOString() }, place.system.id);
  };
  const take = (place) => {
    entry.place = place;
    entry.line = null;
    input.value = place.tag;
    open(false);
    element.complain("");
    say();
  };
  const open = (shown) => {
    list.hidden = !shown;
    input.setAttribute("aria-expanded", String(shown));
  };
  const offer = () => {
    entry.place = tagMeant(tags, input.value);
    const rows = entry.place ? [] : matching(tags, input.value);
    list.replaceChildren(...rows.map((one) => h("li", {}, h("button", { type: "button", onclick: () => take(one) }, tag(one.tag), ` ${one.words}`))));
    open(rows.length > 0);
    say();
  };
  input.addEventListener("input", offer);
  input.addEventListener("focus", () => { input.select(); if (!entry.place) offer(); });
  const reader = await scanner((read) => {
    const place = tagMeant(tags, read);
    if (place) take(place);
    return Boolean(place);
  });
  say();
  if (params.tag && !entry.place) setTimeout(() => element.complain(NOT_ON_PHONE));
  return { element: h("div", {}, element, reader.element), field: element, stop: reader.stop };
}

const NOT_ON_PHONE = "This tag is not on this phone. Choose another, or take its system along while there is signal.";

function photosField(app, bundle, entry) {
  const input = h("input", { type: "file", accept: "image/*", capture: "environment", multiple: true, name: "photos", class: "visually-hidden" });
  const label = h("label", { class: "button take-photo", for: "photos" }, "take a photo");
  input.id = "photos";
  const wrong = h("p", { class: "wrong-words", role: "alert" });
  const list = h("ul", { class: "photo-strip" });
  const draw = () => {
    list.replaceChildren(...entry.photos.map((photo, place) => photoRow(app, entry, photo, place, draw)));
    label.firstChild.textContent = entry.photos.length ? `another photo (${entry.photos.length} of ${MOST})` : "take a photo";
    label.hidden = input.disabled = entry.photos.length >= MOST;
  };
  input.addEventListener("change", async () => {
    app.entry(true);
    wrong.textContent = "";
    for (const file of [...input.files]) {
      if (entry.photos.length >= MOST) { wrong.textContent = `An item takes ${MOST} photos; the rest were not kept.`; break; }
      try {
        entry.photos.push(await prepared(file, { keepPosition: bundle.project.keep_photo_position }));
      } catch (error) {
        wrong.textContent = error.message;
      }
      draw();
    }
    input.value = "";
  });
  return h("div", { class: "field" }, input, label, wrong, list);
}

function photoRow(app, entry, photo, place, draw) {
  photo.address ??= URL.createObjectURL(photo.blob);
  const change = (next) => {
    URL.revokeObjectURL(photo.address);
    entry.photos.splice(place, 1, ...(next ? [{ ...next, address: null }] : []));
    draw();
  };
  return h("li", {}, h("img", { src: photo.address, alt: photo.caption || `photo ${place + 1}` }),
    photo.caption && h("p", {}, photo.caption),
    h("div", {}, h("button", { type: "button", onclick: () => markOn(photo, change) }, "mark"), h("button", { type: "button", onclick: () => change(null) }, "leave out")));
}

function photoBody(item, { takenAt, caption, marks }) {
  return { item, taken_at: takenAt, ...(caption ? { caption } : {}), ...(marks?.length ? { marks } : {}) };
}

async function record({ app, bundle, entry, where, bad, words, said }) {
  said.complain("");
  if (!entry.place) return where.field.complain(NOT_ON_PHONE);
  if (!bad.value()) return bad.complain("Say how bad it is: A, B or C.");
  if (!words.value.trim()) return said.complain("Say what is wrong, in a few words.");
  const { place, line, id } = entry;
  const at = line ? { line } : place.equipment ? { equipment: place.equipment.id } : { system: place.system.id };
  const shared = { system: place.system.id, seen: seenOf(bundle) };
  const item = { ...shared, id, kind: "punch_item", body: { category: bad.value(), text: words.value.trim(), ...at } };
  const photos = entry.photos.map((photo) => ({ ...shared, kind: "photo", files: [photo.plain ?? photo.blob], body: photoBody(id, photo) }));
  const typed = { place, line, category: bad.value(), text: words.value, photos: entry.photos.map((photo) => ({ ...photo, address: null })) };
  const back = () => { draft = typed; return app.go(`#/snag?system=${place.system.id}`); };
  const kept = await keep(app, [item, ...photos], `Snag kept on this phone, category ${bad.value()}.`, { back });
  if (!kept) return undefined;
  entry.photos.forEach((photo) => photo.address && URL.revokeObjectURL(photo.address));
  await app.store.keepNote(PLACE, place.tag).catch(() => undefined); // it only saves typing the next time
  app.go(`#/systems/${place.system.id}`);
  return undefined;
}
