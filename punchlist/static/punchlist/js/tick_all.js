// Ticks or unticks every row of the page; it appears when it can work.
document.querySelectorAll("input[data-tick-all]").forEach((all) => {
  all.hidden = false;
  all.addEventListener("change", () => {
    all.closest("form").querySelectorAll('input[name="item"]').forEach((box) => { box.checked = all.checked; });
  });
});
