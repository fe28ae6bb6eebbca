// Ticks or unticks every box of one name on the page; it appears when it can work.
//   <input type="checkbox" data-tick-every="change" hidden>
document.querySelectorAll("input[data-tick-every]").forEach((all) => {
  const boxes = () => document.querySelectorAll(`input[type="checkbox"][name="${all.dataset.tickEvery}"]`);
  all.closest("label").hidden = false;
  all.addEventListener("change", () => boxes().forEach((box) => { box.checked = all.checked; }));
});
