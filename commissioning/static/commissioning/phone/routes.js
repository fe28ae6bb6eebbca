/* Which screen a hash means. A screen is a module that exports `async show(root, params, app)`; it may answer a function
 * that is called before the next screen is shown. */

const ROUTES = [
  ["#/", "along"],
  ["#/outbox", "outbox"],
  ["#/systems/:system", "system"],
  ["#/systems/:system/run/:stage", "stage"],
  ["#/systems/:system/run/:stage/:line", "line"],
  ["#/systems/:system/alarms", "alarms"],
  ["#/systems/:system/signals", "signals"],
  ["#/systems/:system/supplies", "supplies"],
  ["#/snag", "snag"],
];

/** {name, params}: parameters of the path, then those behind the question mark. A hash that nobody knows is "nowhere". */
export function route(hash) {
  const [path, query = ""] = (hash || "#/").split("?");
  const asked = path.replace(/\/$/, "").split("/");
  for (const [pattern, name] of ROUTES) {
    const parts = pattern.replace(/\/$/, "").split("/");
    if (parts.length !== asked.length) continue;
    const params = {};
    const fits = parts.every((part, place) => {
      if (!part.startsWith(":")) return part === asked[place];
      params[part.slice(1)] = decodeURIComponent(asked[place]);
      return true;
    });
    if (fits) return { name, params: { ...Object.fromEntries(new URLSearchParams(query)), ...params } };
  }
  return { name: "nowhere", params: {} };
}

/** The screen's module; a screen that this version does not have is "nowhere". */
export async function screen(name) {
  return import(`./screens/${name}.js`);
}
