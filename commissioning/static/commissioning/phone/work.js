/* Whether a line can be recorded now, from what the phone knows: the rules of commissioning/rules/safety.py, in the same
 * words. The server decides again when the entry arrives. Nothing here touches the page or the store. */

const DONE = ["passed", "not_applicable"];
/** A wrong order can hurt somebody in these stages (ORDERED_STAGES of rules/stages.py). */
const ORDERED = ["energisation"];
const PARTY = { client: "client", manager: "manager", field_engineer: "field engineer" };

export const ENERGY_WORDS = {
  live: "LIVE",
  recorded_isolated: "recorded isolated - prove dead at the point of work",
  not_recorded: "not recorded - treat as LIVE",
};
export const BATTERY_WORDS = "A battery is never dead: isolated means that its links or fuses are recorded open; its terminals stay live.";

/** LIVE when any supply is released; recorded isolated only when there are supplies and each is isolated. */
export function energyOf(supplies) {
  const states = supplies.map((supply) => supply.state);
  if (states.includes("released")) return "live";
  return states.length && states.every((state) => state === "isolated") ? "recorded_isolated" : "not_recorded";
}

export function isDone(line) {
  return DONE.includes(line.state) || Boolean(line.conceded);
}

/** A line that is answered, but at whose point work stops until the party has been there. */
export function holdsWork(line) {
  return line.point === "hold" && !line.witnessed && line.state !== "not_applicable";
}

/** Reasons why the line cannot be recorded now: {code, words, where, line?, turn}. `deadMatters` is off for setting aside. */
export function blockersOf({ line, stage, energy, deadMatters = true }) {
  const before = stage.lines.slice(0, stage.lines.findIndex((one) => one.id === line.id));
  return [
    stageInHand(stage), deadMatters && deadWork(line, energy), holdBefore(before), orderBefore(line, stage, before),
  ].filter(Boolean);
}

function stageInHand(stage) {
  if (stage.state === "started") return null;
  const accepted = stage.state === "accepted";
  return {
    code: accepted ? "stage_accepted" : "stage_not_started", turn: "manager", where: stage.words,
    words: accepted
      ? `${stage.words} is accepted. Withdraw its acceptance, with a reason, before a line is recorded in it.`
      : `${stage.words} has not been started. Start it when its entry rules hold.`,
  };
}

function deadWork(line, energy) {
  if (line.work !== "dead" && !line.injects_voltage) return null;
  if (energy !== "recorded_isolated") {
    const state = energy === "live" ? "recorded LIVE" : "not recorded isolated: treat it as LIVE";
    return {
      code: "dead_work_on_live", turn: "field engineer", where: line.tag, supplies: true,
      words: `This is dead work and the system is ${state}. Isolate every supply and record its lock, then prove dead.`,
    };
  }
  if (!line.injects_voltage || line.proof_of_dead) return null;
  return {
    code: "proof_of_dead_missing", turn: "field engineer", where: line.tag, line,
    words: "Record the proof of dead on this line first: detector proved before and after, where, and by whom.",
  };
}

function holdBefore(before) {
  const line = before.find(holdsWork);
  const party = line?.party || "client";
  return line && {
    code: "hold_point_before", turn: PARTY[party] ?? party, where: line.tag, line,
    words: `Work stops at a hold point until the ${party} has witnessed it: ${line.title}.`,
  };
}

function orderBefore(line, stage, before) {
  if (!ORDERED.includes(stage.kind)) return null;
  const first = before.find((one) => !isDone(one) && one.id !== line.id);
  return first && {
    code: "line_before_open", turn: "field engineer", where: first.tag, line: first,
    words: `This stage goes line by line. First: ${first.title}.`,
  };
}

/** The next line to answer: the first open or failed one behind `after`, else from the top; null when all are answered. */
export function nextOpen(stage, after = null) {
  const start = after ? stage.lines.findIndex((line) => line.id === after) + 1 : 0;
  const ordered = [...stage.lines.slice(start), ...stage.lines.slice(0, start)];
  return ordered.find((line) => line.state === "open" && line.id !== after) ?? null;
}

export function partyWords(line) {
  const party = line.party || "client";
  return PARTY[party] ?? party;
}
