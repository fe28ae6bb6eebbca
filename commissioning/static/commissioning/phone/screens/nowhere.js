/* An address of the app that leads nowhere. */

import { h } from "../dom.js";

export async function show(root) {
  root.append(h("h1", {}, "There is nothing here"), h("p", {}, "This address leads nowhere in this version of the app."),
    h("p", {}, h("a", { class: "button main", href: "#/" }, "what is on this phone")));
}
