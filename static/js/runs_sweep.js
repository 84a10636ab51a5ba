/* Two handles for the limits of a sweep on its chart, dragged or moved by the arrow keys; they fill in the form below.
   <div data-chart data-source="..." data-sweep-form="ID of the form"></div>: the form has the fields limits_in, first and last;
   the series labelled "sweep" gives the limits. Loaded before charts.js, so that it does not miss the first chartdraw. */

import { element } from "./elements.js";
import { formatNumber } from "./numbers.js";

const ENDS = ["first", "last"];
const LABELS = { first: "The sweep starts at", last: "The sweep ends at" };
const STEPS = 400;

function limitsOf(chart) {
  const sweep = chart.data.panels[0].series.find((series) => series.label === "sweep");
  return sweep ? { first: sweep.x[0], last: sweep.x.at(-1) } : null;
}

function fill(form, chart, limits) {
  const bySample = chart.data.x_label === "sample";
  form.elements.limits_in.value = bySample ? "sample" : "time";
  for (const end of ENDS) form.elements[end].value = bySample ? String(Math.round(limits[end]) + 1) : limits[end].toFixed(4); // three decimals might be thousands
}

function placeHandles(root, plot) {
  const { chart } = root, limits = root.sweepLimits;
  for (const end of ENDS) {
    const handle = root.sweepHandles[end];
    if (handle.parentElement !== plot.over) plot.over.append(handle);
    const left = plot.valToPos(limits[end], "x");
    handle.hidden = left < -1 || left > plot.over.clientWidth + 1;
    handle.style.left = `${left}px`;
    handle.setAttribute("aria-valuenow", limits[end]);
    handle.setAttribute("aria-valuetext", `${formatNumber(limits[end], chart.data.x_digits ?? 0)} ${chart.data.x_unit}`.trim());
  }
}

function move(root, end, value) {
  const { chart } = root, limits = root.sweepLimits, [least, most] = chart.fullRange, minWidth = (most - least) / STEPS;
  limits[end] = end === "first" ? Math.max(least, Math.min(value, limits.last - minWidth)) : Math.min(most, Math.max(value, limits.first + minWidth));
  placeHandles(root, chart.plots[0]);
  fill(document.getElementById(root.dataset.sweepForm), chart, limits);
}

function handleOf(root, end) {
  const [least, most] = root.chart.fullRange;
  const handle = element("div", { class: `sweep-handle sweep-${end}`, role: "slider", tabindex: "0", "aria-label": LABELS[end], "aria-valuemin": least, "aria-valuemax": most });
  handle.addEventListener("mousedown", (event) => event.stopPropagation()); // the chart would start to zoom
  handle.addEventListener("pointerdown", (event) => { handle.setPointerCapture(event.pointerId); event.stopPropagation(); });
  handle.addEventListener("pointermove", (event) => {
    if (!handle.hasPointerCapture(event.pointerId)) return;
    const plot = root.chart.plots[0];
    move(root, end, plot.posToVal(event.clientX - plot.over.getBoundingClientRect().left, "x"));
  });
  handle.addEventListener("keydown", (event) => {
    const direction = { ArrowLeft: -1, ArrowDown: -1, ArrowRight: 1, ArrowUp: 1 }[event.key];
    if (!direction) return;
    event.preventDefault();
    event.stopPropagation();
    move(root, end, root.sweepLimits[end] + ((direction * (most - least)) / STEPS) * (event.shiftKey ? 10 : 1));
  });
  return handle;
}

document.addEventListener("chartdraw", ({ target, detail: plot }) => {
  if (!target.dataset.sweepForm || !document.getElementById(target.dataset.sweepForm)) return;
  if (!target.sweepHandles) {
    target.sweepLimits = limitsOf(target.chart);
    if (!target.sweepLimits) return;
    target.sweepHandles = Object.fromEntries(ENDS.map((end) => [end, handleOf(target, end)]));
  }
  placeHandles(target, plot);
});
