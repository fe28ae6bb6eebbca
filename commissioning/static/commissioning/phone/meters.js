/* Which instrument measured it: those on this phone that can show the unit; the one taken last is remembered by unit. */

const PREFIXED = /^[pnµμmkMG](?=[A-Za-zΩ])/;
const WHOLE = new Set(["m", "min", "mol", "cd", "K", "Pa", "°C"]);

/** The unit without its prefix, so that mV and kV are of one kind; °C and K count as one. */
export function kindOf(unit) {
  if (unit === "°C" || unit === "K") return "K";
  return WHOLE.has(unit) ? unit : unit.replace(PREFIXED, "");
}

/** Instruments with a range in a unit of this kind. */
export function metersFor(instruments, unit) {
  return instruments.filter((one) => one.ranges.some((range) => kindOf(range.unit) === kindOf(unit)));
}

export function wordsOf(instrument) {
  return `${instrument.description} ${instrument.serial}`;
}

/** The day of the place, as calibrations are dated. */
export function dayAt(zone, now = new Date()) {
  try {
    return new Intl.DateTimeFormat("en-CA", { timeZone: zone, year: "numeric", month: "2-digit", day: "2-digit" }).format(now);
  } catch {
    return now.toISOString().slice(0, 10);
  }
}

export function inCalibration(instrument, day) {
  return instrument.calibrations.some((one) => one.from <= day && day <= one.due);
}

/** An instrument as the formulas read it. */
export function asVerified(instrument) {
  return { ...instrument, words: wordsOf(instrument) };
}

const KEY = "instruments by unit";

export async function remembered(store) {
  return (await store.note(KEY)) ?? {};
}

export async function remember(store, chosen) {
  await store.keepNote(KEY, { ...await remembered(store), ...chosen });
}
