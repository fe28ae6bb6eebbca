/* Times, sizes and counts in words. */

const ROOM = [["GB", 1e9], ["MB", 1e6], ["kB", 1e3]];

/** How long ago, as a person says it. */
export function age(then, now = Date.now()) {
  const minutes = Math.max(0, Math.round((now - new Date(then).getTime()) / 60_000));
  if (minutes < 1) return "just now";
  if (minutes < 60) return `${minutes} min ago`;
  const hours = Math.round(minutes / 60);
  return hours < 48 ? `${hours} h ago` : `${Math.round(hours / 24)} days ago`;
}

/** Date and time of the phone, ISO 8601 without what a reader does not need. */
export function moment(then) {
  const at = new Date(then);
  const two = (number) => String(number).padStart(2, "0");
  return `${at.getFullYear()}-${two(at.getMonth() + 1)}-${two(at.getDate())} ${two(at.getHours())}:${two(at.getMinutes())}`;
}

export function room(octets) {
  if (octets === null || octets === undefined) return "not known";
  const [unit, size] = ROOM.find(([, least]) => octets >= least) ?? ["B", 1];
  const number = octets / size;
  return `${number < 10 && size > 1 ? number.toFixed(1) : Math.round(number)} ${unit}`;
}

export function many(number, one, more = `${one}s`) {
  return `${number} ${number === 1 ? one : more}`;
}
