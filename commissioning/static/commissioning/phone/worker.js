/* The service worker. Before these lines the server puts APP: {version, page, files}.
 *
 * It keeps the app's files under the version's own name and answers them from there, the app's page too: the phone opens
 * without signal, and at once. It never touches what is read from or written to the server, and never the outbox. */

const CACHE = `phone ${APP.version}`;
const FILES = new Set(APP.files);

addEventListener("install", (event) => event.waitUntil(keep()));
addEventListener("activate", (event) => event.waitUntil(clear()));
addEventListener("message", (event) => { if (event.data === "take over") skipWaiting(); });
addEventListener("fetch", (event) => {
  const { request } = event;
  const address = new URL(request.url);
  if (request.method !== "GET" || address.origin !== location.origin) return;
  if (request.mode === "navigate") event.respondWith(page(request, address));
  else if (FILES.has(address.pathname)) event.respondWith(kept(request));
});

async function keep() {
  const cache = await caches.open(CACHE);
  await cache.addAll(APP.files.map((path) => new Request(path, { cache: path === APP.page ? "reload" : "default" })));
  // The first worker has nobody to wait for; a newer one waits until it is told to take over, or the next start.
  if (!registration.active) await skipWaiting();
}

async function clear() {
  for (const name of await caches.keys()) if (name.startsWith("phone ") && name !== CACHE) await caches.delete(name);
  await clients.claim();
}

async function kept(request) {
  return (await (await caches.open(CACHE)).match(request, { ignoreSearch: true })) ?? fetch(request);
}

/** The app's own page comes from here; any other from the server, and with no signal the app says what to do instead. */
async function page(request, address) {
  const own = address.pathname === APP.page || /^\/p\/[^/]+\/phone\/$/.test(address.pathname);
  const shell = async () => (await caches.open(CACHE)).match(APP.page);
  if (own) return (await shell()) ?? fetch(request);
  try {
    return await fetch(request);
  } catch (error) {
    const found = await shell();
    if (!found) throw error;
    return found;
  }
}
