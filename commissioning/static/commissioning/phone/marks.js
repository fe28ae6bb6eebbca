/* Marks on a photo with a finger: a line, a circle, an arrow; the last one can be taken off. Without a finger, a note
 * says where. The photo is sent as it was taken, its marks beside it as fractions of width and height; the server draws
 * them in the same way (punchlist/services/marks.py). */

import { h } from "./dom.js";
import { jpeg } from "./photos.js";

const COLOUR = "#d32f00", EDGE = "#ffffff";
/** As much as the server takes. */
const MOST_MARKS = 50, MOST_POINTS = 500;
const TOOLS = [["line", "line"], ["circle", "circle"], ["arrow", "arrow"]];

/** Opens the photo large; `done(photo)` gets it back with its marks drawn in, or as it was. */
export async function markOn(photo, done) {
  const plain = photo.plain ?? photo.blob;
  const picture = await createImageBitmap(plain);
  const dialog = h("dialog", { class: "marking", "aria-label": "mark the photo" });
  const paper = h("canvas", { width: picture.width, height: picture.height, role: "img", "aria-label": "the photo, to be marked with a finger" });
  const marks = [...(photo.marks ?? [])];
  const note = h("input", { type: "text", maxlength: 120, value: photo.caption ?? "", autocomplete: "off" });
  let tool = "circle";
  const redraw = (more) => paint(paper, picture, more ? [...marks, more] : marks);
  fingers(paper, () => tool, (mark) => redraw(mark), (mark) => { if (marks.length < MOST_MARKS) marks.push(mark); redraw(); });
  const pick = TOOLS.map(([name, words]) => h("button", { type: "button", "aria-pressed": name === tool, onclick: (event) => {
    tool = name;
    pick.forEach((one) => one.setAttribute("aria-pressed", one === event.currentTarget));
  } }, words));
  dialog.addEventListener("close", () => { dialog.remove(); picture.close(); });
  const keep = async () => {
    const caption = note.value.trim();
    const blob = marks.length ? await jpeg(paper) : plain;
    dialog.close();
    done({ ...photo, blob, plain, marks, caption });
  };
  dialog.append(h("div", { class: "marking-tools" }, pick, h("button", { type: "button", onclick: () => { marks.pop(); redraw(); } }, "take the last off")),
    paper, h("label", {}, "Note of where (or in place of a mark)", note),
    h("div", { class: "marking-foot" }, h("button", { type: "button", class: "main", onclick: keep }, "keep the marks"), h("button", { type: "button", onclick: () => dialog.close() }, "leave it as it was")));
  document.body.append(dialog);
  redraw();
  dialog.showModal();
}

/** One finger, pen or mouse draws one mark from where it goes down to where it is lifted. */
function fingers(paper, tool, moving, made) {
  let mark = null;
  const at = (event) => {
    const box = paper.getBoundingClientRect();
    return [part((event.clientX - box.left) / box.width), part((event.clientY - box.top) / box.height)];
  };
  paper.addEventListener("pointerdown", (event) => {
    paper.setPointerCapture(event.pointerId);
    mark = { tool: tool(), path: [at(event)] };
    event.preventDefault();
  });
  paper.addEventListener("pointermove", (event) => {
    if (!mark) return;
    if (mark.tool !== "line") mark.path[1] = at(event);
    else if (mark.path.length < MOST_POINTS && away(mark.path.at(-1), at(event))) mark.path.push(at(event));
    moving(mark);
  });
  for (const name of ["pointerup", "pointercancel"]) {
    paper.addEventListener(name, () => {
      if (mark?.path.length > 1) made(mark);
      mark = null;
    });
  }
}

/** A place as a fraction of the side, as exact as a finger is. */
const part = (value) => Math.round(Math.min(1, Math.max(0, value)) * 10_000) / 10_000;

const away = ([x, y], [toX, toY]) => Math.hypot(toX - x, toY - y) > 0.003;

function paint(paper, picture, marks) {
  const pen = paper.getContext("2d");
  pen.drawImage(picture, 0, 0);
  const width = Math.max(picture.width, picture.height) / 130;
  Object.assign(pen, { lineCap: "round", lineJoin: "round" });
  for (const mark of marks) {
    // A white edge keeps the mark visible on any ground.
    for (const [colour, thick] of [[EDGE, width * 1.8], [COLOUR, width]]) {
      Object.assign(pen, { strokeStyle: colour, lineWidth: thick });
      pen.stroke(shapeOf(mark, width, picture));
    }
  }
}

function shapeOf({ tool, path: parts }, width, picture) {
  const found = new Path2D();
  const path = parts.map(([x, y]) => [x * picture.width, y * picture.height]);
  const [[x, y], [toX, toY]] = [path[0], path.at(-1)];
  if (tool === "circle") {
    found.ellipse((x + toX) / 2, (y + toY) / 2, Math.abs(toX - x) / 2, Math.abs(toY - y) / 2, 0, 0, Math.PI * 2);
    return found;
  }
  found.moveTo(x, y);
  path.slice(1).forEach(([nextX, nextY]) => found.lineTo(nextX, nextY));
  if (tool === "arrow") {
    const angle = Math.atan2(toY - y, toX - x);
    for (const side of [-0.5, 0.5]) {
      found.moveTo(toX, toY);
      found.lineTo(toX - Math.cos(angle + side) * width * 7, toY - Math.sin(angle + side) * width * 7);
    }
  }
  return found;
}
