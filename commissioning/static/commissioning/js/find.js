// The search box in the header. htmx fetches what is found while somebody types; from here come the keys:
// down and up walk from the box through what was found and back, Escape closes it. Enter on a line follows it, and Enter
// in the box leads to the page of what was found, as it does without script.
const box = document.querySelector("[data-find-box]");
const hits = document.querySelector("[data-find-hits]");

const lines = () => [...hits.querySelectorAll("a")];
const open = () => hits.childElementCount > 0 && !hits.hidden;

function show(yes) {
  hits.hidden = !yes;
}

function step(by) {
  const all = lines();
  const at = all.indexOf(document.activeElement);
  const next = at + by;
  if (next < 0) return box.focus();
  all[Math.min(next, all.length - 1)]?.focus();
}

function keyed(event) {
  if (event.key === "Escape") {
    show(false);
    box.focus();
  } else if (event.key === "ArrowDown" && open()) step(1);
  else if (event.key === "ArrowUp" && open() && document.activeElement !== box) step(-1);
  else return;
  event.preventDefault();
}

if (box && hits) {
  const form = box.closest("form");
  form.addEventListener("keydown", keyed);
  box.addEventListener("input", () => { if (!box.value.trim()) hits.replaceChildren(); });
  box.addEventListener("focus", () => show(true));
  hits.addEventListener("htmx:afterSwap", () => {
    if (box.value.trim()) show(true);
    else hits.replaceChildren();
  });
  document.addEventListener("focusin", (event) => { if (!form.contains(event.target)) show(false); });
  document.addEventListener("click", (event) => { if (!form.contains(event.target)) show(false); });
}
