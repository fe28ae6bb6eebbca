// Passkeys (WebAuthn): a form with data-passkey="create" or "get" asks the browser for one, then sends its answer.
// Its options stand in the page (data-options: id of a JSON block) or are fetched (data-options-from: address).
const WORDS = {
  NotAllowedError: "Nothing came of it: it was left, or took too long. Try again.",
  InvalidStateError: "This device has a passkey for your account already.",
  SecurityError: "Passkeys work only under the product's own name, over an encrypted connection.",
};

const bytes = (text) => Uint8Array.from(atob(text.replace(/-/g, "+").replace(/_/g, "/")), (one) => one.charCodeAt(0));
const text = (buffer) => btoa(String.fromCharCode(...new Uint8Array(buffer)))
  .replace(/\+/g, "-").replace(/\//g, "_").replace(/=+$/, "");

function read(options) {
  const key = { ...options.publicKey, challenge: bytes(options.publicKey.challenge) };
  if (key.user) key.user = { ...key.user, id: bytes(key.user.id) };
  for (const list of ["excludeCredentials", "allowCredentials"]) {
    if (key[list]) key[list] = key[list].map((one) => ({ ...one, id: bytes(one.id) }));
  }
  return { publicKey: key };
}

function written(credential) {
  const answer = { clientDataJSON: text(credential.response.clientDataJSON) };
  for (const part of ["attestationObject", "authenticatorData", "signature", "userHandle"]) {
    if (credential.response[part]) answer[part] = text(credential.response[part]);
  }
  if (credential.response.getTransports) answer.transports = credential.response.getTransports();
  return JSON.stringify({
    id: credential.id,
    rawId: text(credential.rawId),
    type: credential.type,
    authenticatorAttachment: credential.authenticatorAttachment,
    clientExtensionResults: credential.getClientExtensionResults(),
    response: answer,
  });
}

async function optionsOf(form) {
  if (form.dataset.options) {
    const found = JSON.parse(document.getElementById(form.dataset.options).textContent);
    return found.creation_options || found.request_options;
  }
  const answer = await fetch(form.dataset.optionsFrom, { headers: { Accept: "application/json" } });
  if (!answer.ok) throw new Error("too many tries from here");
  return (await answer.json()).request_options;
}

async function ask(form) {
  const trouble = form.querySelector("[data-passkey-trouble]");
  trouble.hidden = true;
  try {
    const options = read(await optionsOf(form));
    const credential = await navigator.credentials[form.dataset.passkey](options);
    form.elements.credential.value = written(credential);
    form.submit();
  } catch (error) {
    trouble.textContent = WORDS[error.name] || `No passkey could be used (${error.message}). Try again, or use another way.`;
    trouble.hidden = false;
  }
}

document.querySelectorAll("form[data-passkey]").forEach((form) => {
  if (!window.PublicKeyCredential) return;
  form.hidden = false;
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    ask(form);
  });
});
