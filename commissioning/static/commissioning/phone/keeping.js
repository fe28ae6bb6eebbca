/* Keeping an entry of a line: into the outbox, with what the phone knew; then on to the next line, with undo. */

import { offerUndo } from "./undo.js";
import { nextOpen } from "./work.js";

/** What the phone knew when this was recorded, so that the server can say what had changed meanwhile. */
export function seenOf(bundle, line = null, more = {}) {
  const known = line && { state: line.state, changed: line.changed ?? null, edition: line.edition || null, procedure_version: line.procedure_version ?? null };
  return { taken_at: bundle.taken_at, head: bundle.head, ...(known ? { line: known } : {}), ...more };
}

/** Keep entries together and offer to take them back; answers them, or null when they could not be kept. */
export async function keep(app, entries, words, { back = () => app.show(), atOnce = false } = {}) {
  try {
    const items = await app.outbox.addAll(entries.map((entry) => ({ project: app.code, ...entry, ...(atOnce && { hold: 0 }) })));
    app.entry(false);
    offerUndo(app, items, words, back, { atOnce });
    return items;
  } catch (error) {
    app.say(error.message, "error");
    return null;
  }
}

/** Keep what was answered on a line and go on: to the next open line, or stay where work stops. While the server answers,
 * it goes at once: others on the same system see it. */
export async function keepOnLine(here, { kind, body, seen = {}, words, failed = false }) {
  const { app, bundle, system, stage, line } = here;
  const own = here.to(line);
  const entry = { system: system.id, kind, body: { line: line.id, ...body }, seen: seenOf(bundle, line, seen) };
  const items = await keep(app, [entry], words, { back: () => app.go(own), atOnce: app.live.on });
  if (!items) return;
  const stops = failed || (line.point === "hold" && !line.witnessed);
  const next = stops ? null : nextOpen(stage, line.id);
  app.go(next ? here.to(next) : own);
}
