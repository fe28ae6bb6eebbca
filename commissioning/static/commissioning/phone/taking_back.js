/* Taking back what was just kept: while it waits here it simply goes; what has arrived already is reopened on its line,
 * where it stays on record. */

import { Unable } from "./outbox.js";
import { NoSignal } from "./requests.js";

const TRIES = 3;
const REASON = "Taken back on the phone within ten seconds.";
const NOT_SENT = "Taken back. Nothing of it was sent.";
const REOPENED = "Taken back: the line is open again. What was recorded stays on record, superseded.";
const ON_ITS_WAY = "It is on its way, so it cannot be taken back here just now. Open the line again on its own page, with signal.";

/** Take these entries back, the last one first; answers what was done, in words. */
export async function takeBack(app, items) {
  let words = NOT_SENT;
  for (const item of [...items].reverse()) {
    try {
      await app.outbox.undo(item.id);
    } catch (error) {
      if (!(error instanceof Unable) || !item.body.line) throw error;
      await reopen(app, item, error);
      words = REOPENED;
    }
  }
  return words;
}

async function reopen(app, item, unable) {
  await app.outbox.sendAll();
  const sent = await app.outbox.get(item.id);
  if (sent?.state === "needs you") throw unable; // refused: it needs its person in the outbox, and nothing stands
  if (sent?.state !== "arrived") throw new Unable(ON_ITS_WAY);
  try {
    await app.along.renew(item.project, item.system);
    await answered(app, item, sent);
    const body = { id: crypto.randomUUID(), reason: REASON };
    await tried(() => app.along.requests.post(item.project, `lines/${item.body.line}/reopen/`, body));
    await app.along.renew(item.project, item.system);
  } catch (error) {
    throw error instanceof NoSignal ? new Unable(ON_ITS_WAY) : error;
  }
}

/** Only what stands is taken back: somebody else may have answered the line since. */
async function answered(app, item, sent) {
  const system = await app.system(item.system);
  const line = system?.stages.flatMap((stage) => stage.lines).find((one) => one.id === item.body.line);
  if (line?.standing?.id === sent.result?.id) return;
  throw new Unable(`${line?.standing?.by ?? "Somebody else"} has answered this line since; nothing is taken back.`);
}

/** The same question again while no answer comes: it has its own id, and the server does it once. */
async function tried(ask) {
  for (let tries = 1; ; tries += 1) {
    try {
      return await ask();
    } catch (error) {
      if (!(error instanceof NoSignal) || tries === TRIES) throw error;
    }
  }
}
