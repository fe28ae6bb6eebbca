// A formula that is wider than its place scrolls: there it can be reached by tab, and moved with the arrow keys.
// Browsers that do this by themselves need nothing of it.
const WIDE = ".formula, .formula-line, .substituted, .result";

function reach() {
  document.querySelectorAll(WIDE).forEach((one) => {
    if (one.scrollWidth > one.clientWidth) one.tabIndex = 0;
    else one.removeAttribute("tabindex");
  });
}

reach();
addEventListener("resize", reach);
document.addEventListener("htmx:afterSettle", reach);
