/* A photo before it is kept: turned upright, made smaller, without what the camera hid in it; its time is kept beside it. */

import { readExif, withPosition } from "./exif.js";

/** As on the server (punchlist/services/pictures.py), so that nothing is lost on the way. */
export const LONGEST_SIDE = 1600;
export const MOST = 10;
const QUALITY = 0.82;

/** {blob, takenAt} of a file from the camera; an Error with words when it is no picture. */
export async function prepared(file, { keepPosition = false } = {}) {
  const octets = await file.arrayBuffer();
  const { takenAt, position } = readExif(octets);
  const canvas = await upright(file);
  const blob = await jpeg(canvas);
  const kept = keepPosition && position ? withPosition(await blob.arrayBuffer(), position) : blob;
  const time = takenAt || new Date(Math.min(file.lastModified || Date.now(), Date.now())).toISOString();
  return { blob: kept, takenAt: time };
}

async function upright(file) {
  let picture;
  try {
    picture = await createImageBitmap(file, { imageOrientation: "from-image" });
  } catch {
    throw new Error(`${file.name || "The file"} cannot be read as a picture. Take the photo again.`);
  }
  const scale = Math.min(1, LONGEST_SIDE / Math.max(picture.width, picture.height));
  const canvas = document.createElement("canvas");
  canvas.width = Math.max(1, Math.round(picture.width * scale));
  canvas.height = Math.max(1, Math.round(picture.height * scale));
  const pen = canvas.getContext("2d");
  pen.fillStyle = "#ffffff"; // what was transparent is white, as on the server
  pen.fillRect(0, 0, canvas.width, canvas.height);
  pen.drawImage(picture, 0, 0, canvas.width, canvas.height);
  picture.close();
  return canvas;
}

export async function jpeg(canvas) {
  const blob = await new Promise((resolve) => { canvas.toBlob(resolve, "image/jpeg", QUALITY); });
  if (!blob) throw new Error("The phone has no memory left for this picture. Close other apps and take it again.");
  return blob;
}
