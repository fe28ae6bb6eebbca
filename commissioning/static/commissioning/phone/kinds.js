/* What the phone may record by itself, and what it may not, with the reason in a sentence.
 * The server holds the same list; whatever comes past this one is refused there too. */

/** Kinds that are recorded with no signal and sent later, in words. */
export const KINDS = {
  reading: "reading",
  check_result: "check result",
  proof_of_dead: "proof of dead",
  punch_item: "punch item",
  photo: "photo",
  alarm_sighting: "alarm sighting",
  signal_forced: "signal forced",
  signal_seen: "signal seen at the far end",
  signal_restored: "signal restored",
  signal_failed: "signal not seen",
  supply_isolated: "supply isolated",
};

const ELSEWHERE = "the phone cannot know what happened elsewhere since";
/** Deeds that are done on the server's own pages, with signal, and why. */
export const NEVER = {
  acceptance: `A gate is accepted with signal only: ${ELSEWHERE}. Somebody may have raised an A item or recorded a supply.`,
  release: `A supply is released with signal only: ${ELSEWHERE}. Somebody may be working on the system, or the permission `
    + "may have been withdrawn. A release never waits to be sent.",
  permission: `A permission to energise is signed with signal only: ${ELSEWHERE}. It names what stands at this moment.`,
};

/** Why an entry of this kind cannot be made here; an empty string when it can. */
export function whyNot(kind) {
  if (kind in KINDS) return "";
  const asked = Object.keys(NEVER).find((name) => String(kind).includes(name) || name.includes(String(kind)));
  return NEVER[asked] ?? `This is recorded with signal only, on its own page: ${ELSEWHERE}.`;
}
