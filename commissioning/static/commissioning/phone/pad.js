/* Number keys large enough for a glove, with the units of the value beside them.
 *
 * A field that takes a number shows these keys in place of the phone's own; "letters" brings the phone's keys back for a
 * value that needs them (">500 MΩ", "OL"). A keyboard types into the field as ever. */

import { h } from "./dom.js";

const LAST_UNIT = /\s*[^\d\s.,;+\-−±><≥≤]+[^\s;]*\s*$/;
const LAST_NUMBER = /([-−]?)(\d[\d.,\s]*\D*)$/;

/** The text with this unit behind its last number; a unit that stood there gives way. */
export function withUnit(text, unit) {
  return `${text.replace(LAST_UNIT, "").trimEnd()} ${unit}`;
}

/** The text with the sign of its last number turned round. */
export function turned(text) {
  if (!/\d/.test(text.split(";").pop())) return `${text}${text && !text.endsWith(" ") ? " " : ""}-`;
  return text.replace(LAST_NUMBER, (whole, sign, number) => (sign ? number : `-${number}`));
}

/** The text with room for another value of a list. */
export function another(text) {
  return text.trim() && !text.trimEnd().endsWith(";") ? `${text.trimEnd()}; ` : text;
}

export class Pad {
  constructor() {
    this.field = null;
    this.letters = false;
    this.keys = h("div", { class: "pad", role: "group", "aria-label": "number keys", hidden: true });
    this.keys.addEventListener("mousedown", (event) => event.preventDefault()); // the field keeps the focus
    this.keys.addEventListener("click", (event) => this.press(event.target.closest("button")));
  }

  /** Let the keys serve this field; `asked` says its units, whether it may be below zero and takes several values. */
  serve(input, asked) {
    input.inputMode = "none";
    input.addEventListener("focus", () => this.open(input, asked));
    input.addEventListener("blur", () => setTimeout(() => { if (document.activeElement !== input) this.close(input); }, 150));
    return input;
  }

  open(input, asked) {
    if (this.letters) return;
    this.field = input;
    const key = (words, given) => h("button", { type: "button", tabindex: "-1", ...given }, words);
    const digit = (sign) => key(sign, { "data-type": sign });
    this.keys.replaceChildren(
      h("div", { class: "pad-units" },
        (asked.keys?.length ? asked.keys : asked.unit ? [asked.unit] : []).map((unit) => key(unit, { "data-unit": unit })),
        asked.many && key("next value", { "data-next": "" }), key("letters", { "data-letters": "" })),
      h("div", { class: "pad-digits" }, [..."789"].map(digit), key("⌫", { "data-back": "", "aria-label": "delete" }),
        [..."456"].map(digit), key("±", { "data-sign": "", "aria-label": "change the sign" }),
        [..."123"].map(digit), key(">", { "data-type": ">", "aria-label": "greater than" }), digit("0"), digit("."),
        key("done", { "data-done": "", class: "wide" })));
    this.keys.hidden = false;
    document.body.classList.add("has-pad");
    requestAnimationFrame(() => input.scrollIntoView({ block: "center" }));
  }

  close(input = this.field) {
    if (input !== this.field) return;
    this.keys.hidden = true;
    document.body.classList.remove("has-pad");
  }

  press(button) {
    const { field } = this;
    if (!button || !field) return;
    const { type, unit } = button.dataset;
    if ("letters" in button.dataset) return this.useLetters();
    if ("done" in button.dataset) return field.blur();
    if (type !== undefined) insert(field, type);
    else if ("back" in button.dataset) erase(field);
    else field.value = unit ? withUnit(field.value, unit) : "sign" in button.dataset ? turned(field.value) : another(field.value);
    if (type === undefined && !("back" in button.dataset)) field.setSelectionRange(field.value.length, field.value.length);
    field.dispatchEvent(new Event("input", { bubbles: true }));
    return undefined;
  }

  /** The phone's own keys for this screen. */
  useLetters() {
    this.letters = true;
    this.close();
    const { field } = this;
    field.blur();
    field.inputMode = "text";
    field.focus();
    field.addEventListener("blur", () => { this.letters = false; field.inputMode = "none"; }, { once: true });
  }
}

function insert(field, sign) {
  const [start, end] = [field.selectionStart ?? field.value.length, field.selectionEnd ?? field.value.length];
  field.setRangeText(sign, start, end, "end");
}

function erase(field) {
  const [start, end] = [field.selectionStart ?? field.value.length, field.selectionEnd ?? field.value.length];
  field.setRangeText("", start === end ? Math.max(0, start - 1) : start, end, "end");
}
