// A form that posts is sent once, however often its button is pressed. A form with data-many may be sent again.
// The server's own idempotency is what counts; this only spares people the doubt.
const BY_HTMX = "[hx-post], [hx-put], [hx-patch], [hx-delete]";
const PATIENCE_MS = 20000;

function release(form) {
  delete form.dataset.sent;
  form.querySelectorAll("button[aria-disabled]").forEach((button) => button.removeAttribute("aria-disabled"));
}

document.addEventListener("submit", (event) => {
  const form = event.target;
  if (form.method !== "post" || "many" in form.dataset) return;
  if (form.dataset.sent) {
    event.preventDefault();
    event.stopImmediatePropagation();
    return;
  }
  form.dataset.sent = "yes";
  if (event.submitter) event.submitter.setAttribute("aria-disabled", "true");
  // Another module may have taken the form over (no signal, refused): then it is free again at once.
  setTimeout(() => { if (event.defaultPrevented && !form.matches(BY_HTMX)) release(form); });
  // A line that hangs must not lock the form for good.
  setTimeout(() => release(form), PATIENCE_MS);
}, true);

document.addEventListener("htmx:afterRequest", (event) => {
  const form = event.target.closest("form");
  if (form) release(form);
});

window.addEventListener("pageshow", (event) => {
  if (event.persisted) document.querySelectorAll("form[data-sent]").forEach(release);
});
