// Keys: ? lists them, / goes to the search box, j and k move through a list, and data-key="n" on a link or button
// gives it the key n (its words explain it in the list). Keys can be turned off, and stay off in this browser.
const OFF = "keys-off";
const isOff = () => localStorage.getItem(OFF) === "yes";
const typing = (target) => target.closest("input, select, textarea, [contenteditable]") !== null;

const seen = (what) => [...document.querySelectorAll(what)].find((one) => one.getClientRects().length);

function rows() {
  return [...document.querySelectorAll("[data-list] > li, table[data-list] > tbody > tr")]
    .map((row) => row.querySelector("a, button"))
    .filter((stop) => stop && stop.getClientRects().length);
}

function move(step) {
  const stops = rows();
  if (!stops.length) return;
  const row = document.activeElement.closest("[data-list] > li, tr");
  const at = stops.findIndex((stop) => row && row.contains(stop));
  const next = at < 0 ? (step > 0 ? 0 : stops.length - 1) : at + step;
  stops[Math.min(Math.max(next, 0), stops.length - 1)].focus();
}

function known() {
  const own = [...document.querySelectorAll("[data-key]")].map((control) => [control.dataset.key, control.textContent.trim()]);
  const general = [["?", "show or hide this list"]];
  if (seen("[type=search]")) general.push(["/", "find"]);
  if (rows().length) general.push(["j", "next in the list"], ["k", "previous in the list"]);
  return [...general, ...own];
}

function build() {
  const box = document.createElement("section");
  box.className = "keys";
  box.tabIndex = -1;
  box.setAttribute("aria-label", "keys");
  const list = document.createElement("dl");
  list.className = "facts";
  for (const [key, meaning] of known()) {
    const term = document.createElement("dt");
    term.append(Object.assign(document.createElement("kbd"), { textContent: key }));
    list.append(term, Object.assign(document.createElement("dd"), { textContent: meaning }));
  }
  const button = Object.assign(document.createElement("button"), { type: "button" });
  button.textContent = isOff() ? "turn keys on" : "turn keys off";
  button.addEventListener("click", () => {
    localStorage.setItem(OFF, isOff() ? "no" : "yes");
    box.remove();
  });
  box.append(list, button);
  return box;
}

function toggle() {
  const shown = document.querySelector(".keys");
  if (shown) return shown.remove();
  const box = build();
  document.querySelector("main").append(box);
  box.focus();
  box.scrollIntoView({ block: "nearest" });
}

const general = {
  "?": toggle,
  "/": () => seen("[type=search]")?.focus(),
  j: () => move(1),
  k: () => move(-1),
  Escape: () => document.querySelector(".keys")?.remove(),
};

document.addEventListener("keydown", (event) => {
  if (isOff() || event.defaultPrevented || event.ctrlKey || event.altKey || event.metaKey || typing(event.target)) return;
  const control = [...document.querySelectorAll("[data-key]")].find((candidate) => candidate.dataset.key === event.key);
  const deed = general[event.key] ?? (control && (() => control.click()));
  if (!deed) return;
  event.preventDefault();
  deed();
});

const opener = document.querySelector(".keys-open");
if (opener) {
  opener.hidden = false;
  opener.addEventListener("click", toggle);
}
