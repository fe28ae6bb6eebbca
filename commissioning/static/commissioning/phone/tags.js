/* Tags on this phone: found while typing, and by what a label says. */

const ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"; // as labels/codes.py
const MISREAD = { I: "1", L: "1", O: "0" };

/** The record's key that the code of a label stands for, or null. */
export function keyOf(code) {
  const letters = [...code.toUpperCase().replaceAll(/[- ]/g, "")].map((letter) => MISREAD[letter] ?? letter);
  if (letters.length !== 26 || letters.some((letter) => !ALPHABET.includes(letter))) return null;
  let number = 0n;
  for (const letter of letters) number = number * 32n + BigInt(ALPHABET.indexOf(letter));
  if (number >= 1n << 128n) return null;
  const hex = number.toString(16).padStart(32, "0");
  return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
}

/** Every tag taken along: systems, then their equipment. */
export function tagsOf(bundle) {
  return bundle.systems.flatMap((system) => [
    { tag: system.tag, words: system.name, system, equipment: null, former: [] },
    ...system.tags.map((one) => ({ tag: one.tag, words: one.name || one.kind_words, system, equipment: one, former: one.former_tags ?? [] })),
  ]);
}

/** Tags that hold what was typed, those that begin with it first. */
export function matching(tags, typed, most = 8) {
  const wanted = typed.trim().toLowerCase().split(/\s+/).filter(Boolean);
  if (!wanted.length) return tags.slice(0, most);
  const rank = (one) => (one.tag.toLowerCase().startsWith(wanted[0]) ? 0 : one.tag.toLowerCase().includes(wanted[0]) ? 1 : 2);
  const fits = (one) => wanted.every((word) => `${one.tag} ${one.words} ${one.former.join(" ")}`.toLowerCase().includes(word));
  return tags.filter(fits).sort((a, b) => rank(a) - rank(b)).slice(0, most);
}

/** What was read off a label, or typed: an address of ours, its code, or a tag, now or formerly; null when it is not here. */
export function tagMeant(tags, text) {
  const said = text.trim();
  const code = said.match(/\/t\/([0-9A-Za-z]{26})\/?$/)?.[1] ?? said;
  const key = keyOf(code);
  if (key) return tags.find((one) => (one.equipment ?? one.system).id === key) ?? null;
  const byAddress = said.match(/^https?:\/\/[^/]+\/p\/[^/]+\/t\/(.+?)\/?$/)?.[1];
  const byKey = said.match(/\/p\/[^/]+\/(?:tags|systems)\/([0-9a-f-]{36})\/?$/)?.[1];
  if (byKey) return tags.find((one) => (one.equipment ?? one.system).id === byKey) ?? null;
  const tag = byAddress ? decodeURIComponent(byAddress) : said;
  const same = (one) => one.toLowerCase() === tag.toLowerCase();
  return tags.find((one) => same(one.tag)) ?? tags.find((one) => one.former.some(same)) ?? null;
}
