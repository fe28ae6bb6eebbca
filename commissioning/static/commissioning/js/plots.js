// Plots of a test recording: values read off under the pointer, a closer look by dragging over a stretch of time.
//   <section id="plots" data-plot-url data-figures-url data-page-url> with figures whose data-left, data-right (places on
//   the drawing) and data-low, data-high (minutes) say where its axis lies. Everything drawn comes from the server.
const SVG = "http://www.w3.org/2000/svg";
const FEWEST = 8; // units of the drawing: a shorter drag is a slip
let numbers = null;
let drag = null;

const section = () => document.getElementById("plots");
const query = () => new URLSearchParams([...new URLSearchParams(location.search)].filter(([name]) => name === "from" || name === "to"));

async function load() {
  const answer = await fetch(`${section().dataset.plotUrl}?${query()}`, { headers: { Accept: "application/json" } });
  return answer.ok ? (await answer.json()).plots : null;
}

function placeOn(figure, event) {
  const svg = figure.querySelector("svg");
  const box = svg.getBoundingClientRect();
  const width = svg.viewBox.baseVal.width;
  const { left, right } = figure.dataset;
  return Math.min(Math.max(((event.clientX - box.left) / box.width) * width, Number(left)), Number(right));
}

function minuteAt(figure, x) {
  const { left, right, low, high } = figure.dataset;
  return Number(low) + ((x - left) / (right - left)) * (high - low);
}

function mark(figure, name, kind) {
  const svg = figure.querySelector("svg");
  let found = svg.querySelector(`.${name}`);
  if (!found) {
    found = document.createElementNS(SVG, kind);
    found.setAttribute("class", name);
    svg.append(found);
  }
  return found;
}

function upright(figure, x) {
  const height = figure.querySelector("svg").viewBox.baseVal.height;
  const line = mark(figure, "plot-cursor", "line");
  for (const [name, value] of Object.entries({ x1: x, x2: x, y1: 12, y2: height - 20 })) line.setAttribute(name, value);
}

function stretch(figure, from, to) {
  const height = figure.querySelector("svg").viewBox.baseVal.height;
  const box = mark(figure, "plot-window", "rect");
  const sides = { x: Math.min(from, to), y: 12, width: Math.abs(to - from), height: height - 32 };
  for (const [name, value] of Object.entries(sides)) box.setAttribute(name, value);
}

function nearest(times, minute) {
  let low = 0;
  let high = times.length - 1;
  while (high - low > 1) {
    const middle = (low + high) >> 1;
    if (times[middle] > minute) high = middle; else low = middle;
  }
  return minute - times[low] < times[high] - minute ? low : high;
}

const shown = (value, unit) => `${String(value).replace("-", "\u2212")}\u202f${unit}`;

function words(plot, minute) {
  const at = nearest(plot.times, minute);
  const known = plot.series.map((one) => ({ ...one, value: one.values[at] })).filter((one) => one.value !== null);
  const start = `at ${plot.times[at].toFixed(1)}\u202fmin`;
  if (!known.length) return `${start}: no reading`;
  if (known.length < 3) return `${start}: ${known.map((one) => `${one.name} ${shown(one.value, plot.unit)}`).join(", ")}`;
  known.sort((one, other) => one.value - other.value);
  const [least, middle, most] = [known[0], known[known.length >> 1], known[known.length - 1]];
  const weak = known.filter((one) => one.weak && one !== least).map((one) => `${one.name} ${shown(one.value, plot.unit)}`);
  return [`${start}: lowest ${least.name} ${shown(least.value, plot.unit)}`, `middle ${shown(middle.value, plot.unit)}`, `highest ${most.name} ${shown(most.value, plot.unit)}`, ...weak].join(", ");
}

async function readOff(figure, x) {
  upright(figure, x);
  numbers ??= load();
  const plots = await numbers;
  if (plots && figure.isConnected) figure.querySelector(".read-off").textContent = words(plots[figure.dataset.place], minuteAt(figure, x));
}

async function show(search) {
  const old = section();
  old.setAttribute("aria-busy", "true");
  const answer = await fetch(`${old.dataset.figuresUrl}?${search}`);
  if (!answer.ok) { location.assign(`${old.dataset.pageUrl}?${search}#plots`); return; }
  const fresh = new DOMParser().parseFromString(await answer.text(), "text/html").getElementById("plots");
  history.replaceState(null, "", `${old.dataset.pageUrl}${String(search) ? `?${search}` : ""}`);
  numbers = null;
  old.replaceWith(document.adoptNode(fresh));
  ready();
}

function ready() {
  section().querySelectorAll("figure.plot").forEach((figure) => figure.classList.add("can-zoom"));
  section().querySelector(".drag-words").hidden = false;
}

document.addEventListener("pointerdown", (event) => {
  const figure = event.target.closest("figure.plot");
  if (figure && event.button === 0) drag = { figure, from: placeOn(figure, event) };
});
document.addEventListener("pointermove", (event) => {
  const figure = drag ? drag.figure : event.target.closest?.("figure.plot");
  if (!figure) return;
  const x = placeOn(figure, event);
  readOff(figure, x);
  if (drag) stretch(figure, drag.from, x);
});
document.addEventListener("pointerup", (event) => {
  if (!drag) return;
  const { figure, from } = drag;
  const to = placeOn(figure, event);
  drag = null;
  if (Math.abs(to - from) < FEWEST) { figure.querySelector(".plot-window")?.remove(); return; }
  const [start, end] = [from, to].sort((one, other) => one - other).map((x) => Math.max(minuteAt(figure, x), 0).toFixed(2));
  show(new URLSearchParams({ from: start, to: end }));
});
document.addEventListener("pointercancel", () => {
  drag?.figure.querySelector(".plot-window")?.remove();
  drag = null;
});
document.addEventListener("click", (event) => {
  if (!event.target.closest("#plots [data-whole]")) return;
  event.preventDefault();
  show(new URLSearchParams());
});
ready();
