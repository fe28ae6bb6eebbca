// How long a point has been held forced:
//   <p data-held="seconds so far" data-hold="seconds to hold"> with [data-held-now], [data-held-more], and a [data-held-bar] after it
// Without script the seconds stand as they were when the page was loaded, and a wrist watch does the rest.
function watch(held) {
  const started = Date.now() - Number(held.dataset.held) * 1000;
  const hold = Number(held.dataset.hold);
  const now = held.querySelector("[data-held-now]");
  const bar = held.parentElement.querySelector("[data-held-bar]");
  const tick = () => {
    if (!held.isConnected) return clearInterval(running);
    const seconds = Math.floor((Date.now() - started) / 1000);
    now.textContent = `${seconds}\u202fs`;
    if (bar) bar.value = Math.min(seconds, hold);
    if (seconds >= hold && !held.dataset.over) {
      held.dataset.over = "yes";
      held.querySelector("[data-held-more]").textContent = ": the far end should have seen it by now, unless the alarm is delayed for longer.";
      navigator.vibrate?.(400);
    }
  };
  const running = setInterval(tick, 250);
  tick();
}

const find = (root) => [...root.querySelectorAll("[data-held]"), ...(root.matches?.("[data-held]") ? [root] : [])].forEach(watch);

find(document);
document.addEventListener("htmx:load", (event) => { if (event.target !== document.body) find(event.target); });
