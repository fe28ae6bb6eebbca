/* What a camera wrote into a JPEG beside the picture: when it was taken, and where (Exif 2.32, TIFF 6.0).
 * Everything else is left behind when the picture is drawn anew. */

const SIZES = [0, 1, 1, 2, 4, 8, 1, 1, 2, 4, 8, 4, 8];
const EXIF_PART = 0x8769, GPS_PART = 0x8825, TAKEN = 0x9003, OFFSET = 0x9011;

/** {takenAt: ISO text or "", position: entries or null} of a JPEG's octets. */
export function readExif(octets) {
  try {
    const tiff = tiffOf(octets);
    if (!tiff) return { takenAt: "", position: null };
    const first = entries(tiff, tiff.getUint32(4, tiff.little));
    const detail = first.has(EXIF_PART) ? entries(tiff, number(tiff, first.get(EXIF_PART))) : new Map();
    const position = first.has(GPS_PART) ? [...entries(tiff, number(tiff, first.get(GPS_PART)))] : [];
    return {
      takenAt: taken(words(detail.get(TAKEN)), words(detail.get(OFFSET))),
      position: position.length ? { little: tiff.little, rows: position } : null,
    };
  } catch (error) {
    if (error instanceof RangeError) return { takenAt: "", position: null }; // a damaged note: the picture may still be good
    throw error;
  }
}

function tiffOf(octets) {
  const view = new DataView(octets);
  if (view.byteLength < 4 || view.getUint16(0) !== 0xffd8) return null;
  let at = 2;
  while (at + 4 < view.byteLength && view.getUint8(at) === 0xff) {
    const [marker, length] = [view.getUint8(at + 1), view.getUint16(at + 2)];
    if (marker === 0xda) return null;
    if (marker === 0xe1 && view.getUint32(at + 4) === 0x45786966) {
      const tiff = new DataView(octets, at + 10, length - 8);
      tiff.little = tiff.getUint16(0) === 0x4949;
      return tiff;
    }
    at += 2 + length;
  }
  return null;
}

/** Tag → {type, count, octets} of one directory. */
function entries(tiff, start) {
  const found = new Map();
  const count = Math.min(tiff.getUint16(start, tiff.little), 200);
  for (let place = 0; place < count; place += 1) {
    const at = start + 2 + 12 * place;
    const [tag, type, many] = [tiff.getUint16(at, tiff.little), tiff.getUint16(at + 2, tiff.little), tiff.getUint32(at + 4, tiff.little)];
    const size = (SIZES[type] ?? 0) * many;
    if (!size || size > 4096) continue;
    const from = size > 4 ? tiff.getUint32(at + 8, tiff.little) : at + 8;
    found.set(tag, { type, count: many, octets: new Uint8Array(tiff.buffer.slice(tiff.byteOffset + from, tiff.byteOffset + from + size)) });
  }
  return found;
}

function number(tiff, entry) {
  return new DataView(entry.octets.buffer).getUint32(0, tiff.little);
}

function words(entry) {
  return entry ? new TextDecoder("latin1").decode(entry.octets).replaceAll("\0", "").trim() : "";
}

/** "2026:03:02 14:05:33" with "+01:00" as ISO 8601; without an offset the phone's own zone is meant. */
function taken(noted, offset) {
  const found = noted.match(/^(\d{4}):(\d\d):(\d\d) (\d\d:\d\d:\d\d)$/);
  if (!found) return "";
  const at = new Date(`${found[1]}-${found[2]}-${found[3]}T${found[4]}${/^[+-]\d\d:\d\d$/.test(offset) ? offset : ""}`);
  return Number.isNaN(at.getTime()) ? "" : at.toISOString();
}

/** The JPEG with the position put into it, and nothing else. */
export function withPosition(octets, { little, rows }) {
  const head = 8 + 2 + 12 + 4; // header, one entry that points at the position's directory, no further directory
  const directory = 2 + 12 * rows.length + 4;
  const tail = rows.reduce((sum, [, entry]) => sum + (entry.octets.length > 4 ? even(entry.octets.length) : 0), 0);
  const block = new DataView(new ArrayBuffer(head + directory + tail));
  block.setUint16(0, little ? 0x4949 : 0x4d4d);
  block.setUint16(2, 42, little);
  block.setUint32(4, 8, little);
  block.setUint16(8, 1, little);
  block.setUint16(10, GPS_PART, little);
  block.setUint16(12, 4, little);
  block.setUint32(14, 1, little);
  block.setUint32(18, head, little);
  block.setUint16(head, rows.length, little);
  let free = head + directory;
  rows.sort(([one], [other]) => one - other).forEach(([tag, entry], place) => {
    const at = head + 2 + 12 * place;
    block.setUint16(at, tag, little);
    block.setUint16(at + 2, entry.type, little);
    block.setUint32(at + 4, entry.count, little);
    const away = entry.octets.length > 4;
    if (away) block.setUint32(at + 8, free, little);
    new Uint8Array(block.buffer).set(entry.octets, away ? free : at + 8);
    if (away) free += even(entry.octets.length);
  });
  const segment = new DataView(new ArrayBuffer(10));
  segment.setUint16(0, 0xffe1);
  segment.setUint16(2, block.byteLength + 8);
  new Uint8Array(segment.buffer).set(new TextEncoder().encode("Exif\0\0"), 4);
  return new Blob([octets.slice(0, 2), segment.buffer, block.buffer, octets.slice(2)], { type: "image/jpeg" });
}

const even = (size) => size + (size % 2);
