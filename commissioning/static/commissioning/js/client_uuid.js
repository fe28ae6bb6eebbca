// Fills <input type="hidden" name="client_uuid" data-client-uuid> so that the same content is never stored twice.
// Content changed after it was sent is new content and gets a new key.
export function newUuid() {
  if (crypto.randomUUID) return crypto.randomUUID();
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
  return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join("-");
}

function fill(root) {
  root.querySelectorAll("input[data-client-uuid]").forEach((input) => {
    if (!input.value) input.value = newUuid();
  });
}

fill(document);
document.addEventListener("htmx:load", (event) => fill(event.target));

document.addEventListener("submit", (event) => {
  event.target.querySelectorAll("input[data-client-uuid]").forEach((input) => { input.dataset.used = "yes"; });
});

document.addEventListener("input", (event) => {
  const form = event.target.form;
  if (!form) return;
  form.querySelectorAll("input[data-client-uuid][data-used]").forEach((input) => {
    input.value = newUuid();
    delete input.dataset.used;
  });
});
