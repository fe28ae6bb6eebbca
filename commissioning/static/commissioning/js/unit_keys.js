// Keys beside a value: a phone's number keys have no letters and often no minus sign.
//   <span class="unit-keys" data-for="id_of_the_field" hidden> with buttons data-unit="mV", data-sign, data-next
// A unit takes the place of the one typed before; the sign turns the last number round; next begins another value.
const LAST_UNIT = /\s*[^\d\s.,;+\-−]+[^\s;]*\s*$/;
const LAST_NUMBER = /([-−]?)(\d[\d.,\s]*\D*)$/;

function withUnit(text, unit) {
  return `${text.replace(LAST_UNIT, "").trimEnd()} ${unit}`;
}

function turned(text) {
  if (!/\d/.test(text.split(";").pop())) return `${text}${text && !text.endsWith(" ") ? " " : ""}-`;
  return text.replace(LAST_NUMBER, (whole, sign, number) => (sign ? number : `-${number}`));
}

function press(button, field) {
  if (button.dataset.unit) field.value = withUnit(field.value, button.dataset.unit);
  else if ("sign" in button.dataset) field.value = turned(field.value);
  else if (field.value.trim() && !field.value.trimEnd().endsWith(";")) field.value = `${field.value.trimEnd()}; `;
  field.focus();
  field.setSelectionRange(field.value.length, field.value.length);
  field.dispatchEvent(new Event("input", { bubbles: true }));
}

document.querySelectorAll(".unit-keys").forEach((keys) => { keys.hidden = false; });

document.addEventListener("click", (event) => {
  const button = event.target.closest(".unit-keys button");
  if (!button) return;
  const field = document.getElementById(button.parentElement.dataset.for);
  if (field) press(button, field);
});
