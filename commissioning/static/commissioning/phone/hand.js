/* Where the actions stand: over the full width, or gathered at the left or right thumb, away from a cracked corner.
 * The choice is remembered on this phone. */

import { choices } from "./screens/parts.js";

const KEY = "where the buttons stand";
const PLACES = [["full", "full width"], ["left", "at the left"], ["right", "at the right"]];

function remembered() {
  try {
    return localStorage.getItem(KEY) ?? "full";
  } catch {
    return "full"; // a browser that keeps nothing
  }
}

function stand(place) {
  document.body.dataset.hand = place;
}

/** The choice itself, for the screens that carry it. */
export function handChoice() {
  return choices("Where the buttons stand", "hand", PLACES, {
    chosen: remembered(),
    change(place) {
      stand(place);
      try { localStorage.setItem(KEY, place); } catch { /* it holds until the app is closed */ }
    },
  });
}

stand(remembered());
