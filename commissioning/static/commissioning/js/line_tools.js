// On a check line: a watch for relays that are held forced, an undo that steps back, a verdict that comes into sight.
//   <div class="timer" data-seconds="15"> with a hidden button and an output; without script a wrist watch does it
//   <button data-hide-after="10">
function watch(timer) {
  const button = timer.querySelector("button");
  const shown = timer.querySelector("output");
  const seconds = Number(timer.dataset.seconds);
  let running = 0;
  timer.querySelectorAll("[data-by-watch]").forEach((words) => { words.hidden = true; });
  button.hidden = false;
  button.addEventListener("click", () => {
    clearInterval(running);
    const until = Date.now() + seconds * 1000;
    const tick = () => {
      const left = Math.ceil((until - Date.now()) / 1000);
      shown.textContent = left > 0 ? `${left} s` : "done: let go";
      if (left > 0) return;
      clearInterval(running);
      navigator.vibrate?.(400);
    };
    running = setInterval(tick, 200);
    tick();
  });
}

document.querySelectorAll(".timer").forEach(watch);

document.querySelectorAll("[data-hide-after]").forEach((button) => {
  setTimeout(() => { if (document.activeElement !== button) button.hidden = true; }, Number(button.dataset.hideAfter) * 1000);
});

// The verdict comes into sight as it appears, unless that would push the field that is being typed into out of it.
document.addEventListener("htmx:afterSwap", (event) => {
  if (event.target.id !== "live" || !event.target.firstElementChild) return;
  const verdict = event.target.firstElementChild;
  const typing = document.activeElement.getBoundingClientRect();
  const room = document.documentElement.clientHeight * 0.7;
  if (verdict.getBoundingClientRect().bottom - typing.top < room) verdict.scrollIntoView({ block: "nearest" });
});
