/* A page of the server that was opened with no signal: say so, and lead to what the phone can do. */

import { h } from "../dom.js";

const ONLY_THERE = [
  [/\/accept\/$/, "A gate is accepted with signal only: the phone cannot know what happened elsewhere."],
  [/\/release\/$/, "A supply is released with signal only: the phone cannot know what happened elsewhere. A release never waits to be sent."],
  [/\/permission\/$/, "A permission to energise is signed with signal only: the phone cannot know what happened elsewhere."],
];

export async function show(root, params, app) {
  const why = ONLY_THERE.find(([path]) => path.test(location.pathname))?.[1];
  const phone = app.code ? `/p/${encodeURIComponent(app.code)}/phone/` : "/phone/";
  root.append(
    h("h1", {}, "No signal"),
    h("p", {}, why ?? "This page needs the server, and the server cannot be reached from here just now."),
    h("p", {}, "What you have taken along works without it: procedures, readings, snags."),
    h("p", {}, h("button", { type: "button", onclick: () => location.reload() }, "try again")));
  app.actions(root, h("a", { class: "button main", href: phone + await place(app) }, "open the phone"));
}

/** The screen of the phone that does what the page would have done. */
async function place(app) {
  const path = location.pathname;
  const id = path.match(/\/(?:systems|lines)\/([0-9a-f-]{36})\//)?.[1];
  const tag = path.match(/\/t\/(.+)\/$/)?.[1];
  if (tag) return `#/snag?tag=${tag}`;
  for (const system of (await app.bundle())?.systems ?? []) {
    if (system.id === id) return `#/systems/${id}`;
    const stage = system.stages.find((one) => one.lines.some((line) => line.id === id));
    if (stage) return `#/systems/${system.id}/run/${stage.id}/${id}`;
  }
  return "#/";
}
