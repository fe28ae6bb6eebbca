// What others record on this system shows within two seconds, while the page is seen.
//   <div class="looks-on" data-looks-on="address" data-change="17" data-page="address of this page">
// A short question each second, answered 304 while nothing has happened: it passes every proxy, and costs one look at an
// index. A list is drawn anew in place. A line is opened anew unless something is being typed: then it is only said.
const EVERY = 1000;
const AGAIN = 5000;
let place = document.querySelector(".looks-on");
let change = place?.dataset.change;
let timer = 0;
let asking = false;
let leaving = false; // another page has been asked for: a page that opens itself anew now would take its place

const lineText = (main) => {
  const copy = main.cloneNode(true);
  copy.querySelectorAll(".looks-on, .keys, input[type=hidden]").forEach((one) => one.remove());
  return copy.textContent.replaceAll(/\s+/g, " ").trim();
};
const isLine = document.querySelector("main.run") !== null;
const before = isLine ? lineText(document.querySelector("main")) : "";

async function look() {
  clearTimeout(timer);
  if (asking || leaving || document.visibilityState !== "visible") return;
  asking = true;
  let wait = EVERY;
  try {
    const answer = await fetch(place.dataset.looksOn, { headers: { Accept: "application/json", "If-None-Match": `"${change}"` }, cache: "no-store" });
    if ([401, 403, 404].includes(answer.status)) return; // signed out, or no longer a member: the page itself will say so
    if (answer.ok) await fresh(String((await answer.json()).change));
    else if (answer.status !== 304) wait = AGAIN;
  } catch {
    wait = AGAIN; // no signal: the page stays as it is
  } finally {
    asking = false;
  }
  timer = setTimeout(look, wait);
}

/** The page as it stands now. Nothing is taken as seen before it has come. */
async function fresh(number) {
  if (number === change) return;
  const answer = await fetch(place.dataset.page, { headers: { Accept: "text/html" }, cache: "no-store" });
  if (!answer.ok) throw new Error("The page does not answer.");
  const found = new DOMParser().parseFromString(await answer.text(), "text/html");
  if (leaving) return;
  if (isLine) line(found);
  else list(found);
  change = found.querySelector(".looks-on")?.dataset.change ?? number;
}

function list(found) {
  const held = document.activeElement?.closest("main a[href]")?.getAttribute("href");
  for (const what of ["main", ".thumb-bar"]) document.querySelector(what).replaceChildren(...found.querySelector(what).childNodes);
  place = document.querySelector(".looks-on") ?? place;
  energy(found);
  if (held) document.querySelector(`main a[href="${CSS.escape(held)}"]`)?.focus({ preventScroll: true });
}

function energy(found) {
  const [old, now] = [document, found].map((page) => page.querySelector("body > .energy"));
  if (old && now && old.outerHTML !== now.outerHTML) old.replaceWith(now);
  document.body.classList.toggle("has-live", found.body.classList.contains("has-live"));
}

function line(found) {
  const main = found.querySelector("main");
  energy(found);
  const [old, now] = [document, found].map((page) => page.querySelector("main > progress"));
  if (old && now) old.replaceWith(now);
  if (lineText(main) === before) return said();
  if (!busy()) return location.replace(place.dataset.page);
  const news = main.querySelector(".answered, section[role=alert]");
  return said("This line has changed while you were typing. What you have typed is still here.", news);
}

/** Something is typed, held or chosen here that a new page would lose. */
function busy() {
  if (location.pathname !== new URL(place.dataset.page, location.href).pathname) return true; // sent back with what was typed
  if (document.querySelector(".timer output:not(:empty), dialog[open]")) return true;
  return [...document.querySelectorAll("main input, main textarea, main select")].some((field) => {
    if (field.type === "hidden") return false;
    if (["radio", "checkbox"].includes(field.type)) return field.checked !== field.defaultChecked;
    if (field.options) return field.selectedIndex !== Math.max(0, [...field.options].findIndex((one) => one.defaultSelected));
    return field.value !== field.defaultValue;
  });
}

function said(words = "", news = null) {
  place.replaceChildren();
  if (!words) return;
  const text = Object.assign(document.createElement("p"), { textContent: `${words} ` });
  text.append(Object.assign(document.createElement("a"), { href: place.dataset.page, textContent: "see it as it stands now" }));
  place.append(text);
  if (!news) return;
  const copy = document.importNode(news, true);
  copy.querySelectorAll("[id]").forEach((one) => one.removeAttribute("id"));
  copy.querySelectorAll("a, button").forEach((one) => one.remove());
  copy.removeAttribute("aria-labelledby");
  place.append(copy);
}

/** Whoever leaves may yet stay, with a file that is saved or a page that does not come: then the looks go on. */
function left() {
  leaving = true;
  setTimeout(() => {
    leaving = false;
    look();
  }, AGAIN);
}

if (place) {
  addEventListener("beforeunload", left);
  document.addEventListener("submit", left);
  document.addEventListener("visibilitychange", () => look());
  addEventListener("online", () => look());
  timer = setTimeout(look, EVERY);
}
