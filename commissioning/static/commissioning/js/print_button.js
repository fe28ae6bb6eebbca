// <button type="button" data-print hidden>print</button> appears when it can work.
document.querySelectorAll("button[data-print]").forEach((button) => { button.hidden = false; });

document.addEventListener("click", (event) => {
  if (event.target.closest("button[data-print]")) window.print();
});
