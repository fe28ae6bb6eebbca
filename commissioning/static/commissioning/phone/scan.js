/* Reading a label in the app, where the browser can; where it cannot, the phone's own camera or typing does it. */

import { h } from "./dom.js";

const CANNOT = "This browser reads no codes in the app. The phone's own camera opens a label; or type the tag.";
const EVERY = 200;

export async function canScan() {
  try {
    const formats = await globalThis.BarcodeDetector?.getSupportedFormats();
    return Boolean(formats?.includes("qr_code") && navigator.mediaDevices?.getUserMedia);
  } catch {
    return false;
  }
}

/** A button that reads labels, or the words why there is none. `found` gets the text of each code until it answers true. */
export async function scanner(found) {
  if (!await canScan()) return { element: h("p", { class: "quiet" }, CANNOT), stop: () => undefined };
  const view = h("div", { class: "scan-view", hidden: true });
  const words = h("p", { role: "status" });
  const button = h("button", { type: "button", class: "scan" }, "scan a label");
  let stop = () => undefined;
  const close = () => { stop(); view.hidden = true; button.textContent = "scan a label"; words.textContent = ""; };
  button.addEventListener("click", async () => {
    if (!view.hidden) return close();
    words.textContent = "";
    try {
      stop = await look(view, (text) => { if (found(text)) close(); else words.textContent = `This label is not on this phone: ${text}`; });
      button.textContent = "stop the camera";
    } catch (error) {
      words.textContent = error.name === "NotAllowedError" ? "The camera was not allowed. Allow it in the browser's settings, or type the tag." : "The camera cannot be used just now. Type the tag.";
    }
    return undefined;
  });
  return { element: h("div", { class: "scanner" }, button, view, words), stop: close };
}

async function look(view, said) {
  const stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" }, audio: false });
  const video = h("video", { playsinline: true, muted: true });
  video.srcObject = stream;
  view.replaceChildren(video);
  view.hidden = false;
  await video.play();
  const detector = new globalThis.BarcodeDetector({ formats: ["qr_code"] });
  const clock = setInterval(async () => {
    const codes = await detector.detect(video).catch(() => []);
    if (codes.length) said(codes[0].rawValue);
  }, EVERY);
  return () => {
    clearInterval(clock);
    stream.getTracks().forEach((track) => track.stop());
    view.replaceChildren();
  };
}
