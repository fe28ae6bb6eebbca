// Keeps what is being typed into <textarea data-keep> until it is sent, in this tab only (sessionStorage).
// What the server sent back wins: a field that already holds text is left alone.
const key = (field) => `kept:${location.pathname}:${field.name}`;

function restore(root) {
  root.querySelectorAll("textarea[data-keep]").forEach((field) => {
    const kept = sessionStorage.getItem(key(field));
    if (kept && !field.value) field.value = kept;
  });
}

restore(document);
document.addEventListener("htmx:load", (event) => restore(event.target));

document.addEventListener("input", (event) => {
  const field = event.target;
  if (field.matches("textarea[data-keep]")) sessionStorage.setItem(key(field), field.value);
});

// With no signal the text stays kept: it cannot have arrived.
document.addEventListener("submit", (event) => {
  if (event.defaultPrevented || !navigator.onLine) return;
  event.target.querySelectorAll("textarea[data-keep]").forEach((field) => sessionStorage.removeItem(key(field)));
});

document.addEventListener("htmx:afterRequest", (event) => {
  const form = event.detail.successful && event.target.closest("form");
  if (form) form.querySelectorAll("textarea[data-keep]").forEach((field) => sessionStorage.removeItem(key(field)));
});
