/* Curves over each other, drawn by uPlot.

   <div data-chart data-source="ID"></div> where ID names a json_script block:

   {"x_label": "Engine speed", "x_unit": "rpm", "x_digits": 0,
    "panels": [{"title": "Power", "y_label": "Power at the wheel", "y_unit": "kW", "digits": 1,
                "series": [{"label": "Run 3", "state": "before" | "after" | "other" | "aside",
                            "x": [...], "y": [...], "low": [...], "high": [...]}]}]}

   Optional: "small": true beside x_label lays out many panels side by side, "x_range": [from, to] is the full range, "y_range"
   in a panel likewise. "like": "Run 3" in a series draws it in the style of that label. Limits and single readings are
   described in chart_limits.js, the key of a saved picture in chart_save.js.
   x_digits (0) and digits (1) are the decimals of the values at the cursor. low and high are optional and draw a band. null in
   y is a gap: not measured. x need not be the same in all series. One button shows and hides a label in all panels.
   Before is grey and dashed, after solid in the accent; others differ by dash as well as by hue, for readers who see no hues.
   Drag or + zooms in, - and 0 zoom out, Page Up and Page Down pan, the arrow keys move the cursor, whose values are in a table
   below. One finger moves the cursor, two zoom and pan.
   A script that draws over the chart finds it in the element's property chart, and hears an event chartdraw from the element
   each time a plot is drawn, with the plot in its detail. */

import { drawShapes } from "./chart_limits.js";
import { colour, tickLabels, withUnit } from "./chart_parts.js";
import { saveButtons } from "./chart_save.js";
import { element, svgElement } from "./elements.js";
import { formatNumber } from "./numbers.js";

const OTHERS = [["--other-1", [8, 4]], ["--other-2", [2, 3]], ["--other-3", [10, 3, 2, 3]]];
const HEIGHT = { min: 240, max: 460, share: 0.42 };
const SMALL = { min: 215, max: 300, share: 0.46 };
const ROWS_IN_TABLE = 60;

/* Line style by label; the same in every panel, legend and theme. */
function lineStyles(data) {
  const found = new Map();
  let others = 0;
  for (const { label, state, like, points } of data.panels.flatMap((panel) => panel.series)) {
    if (found.has(label)) continue;
    if (like) found.set(label, { ...found.get(like), mark: undefined });
    else if (state === "before") found.set(label, { hue: "--before", dash: [6, 5], width: 2 });
    else if (state === "after") found.set(label, { hue: "--accent", dash: [], width: 2.25 });
    else if (state === "aside") found.set(label, { hue: "--ink-soft", dash: [2, 4], width: 1.5 });
    else { const [hue, dash] = OTHERS[others++ % OTHERS.length]; found.set(label, { hue, dash, width: 2 }); }
    if (points) found.get(label).mark = points;
  }
  return found;
}

/* uPlot needs rising x; a run with falling engine speed is sorted. */
function inRisingX(series) {
  const order = [...series.x.keys()].toSorted((a, b) => series.x[a] - series.x[b]);
  const pick = (column) => order.map((at) => column[at]);
  return [pick(series.x), pick(series.y), ...(series.low && series.high ? [pick(series.low), pick(series.high)] : [])];
}

/* Empty if no range is chosen: uPlot then fits the data. */
function initialRange(chart) {
  const [min, max] = chart.range || chart.data.x_range || [];
  return { min, max };
}

function plotOptions(chart, panel, size) {
  const font = `13px "IBM Plex Sans", sans-serif`;
  const axis = { values: (_plot, ticks, _axis, _space, apart) => tickLabels(ticks, apart), stroke: colour("--ink"), font, labelFont: font, grid: { stroke: colour("--chart-grid"), width: 1 }, ticks: { stroke: colour("--edge"), width: 1 } };
  const series = [{}];
  const bands = [];
  for (const each of panel.series) {
    const style = chart.styles.get(each.label);
    const shown = !chart.hidden.has(each.label);
    const line = style.mark ? { stroke: "transparent", width: 0, points: { show: false } } : { stroke: colour(style.hue), width: style.width, dash: style.dash, points: { show: each.x.length < 3 } };
    series.push({ label: each.label, show: shown, ...line });
    if (!each.low || !each.high) continue;
    bands.push({ series: [series.length + 1, series.length], fill: each.state === "after" ? colour("--band") : `${colour(style.hue)}33` });
    for (let edge = 0; edge < 2; edge++) series.push({ label: each.label, show: shown, stroke: "transparent", width: 0, points: { show: false } });
  }
  return {
    ...size, series, bands,
    scales: { x: { time: false, ...initialRange(chart) }, ...(panel.y_range && { y: { range: () => panel.y_range } }) },
    axes: [
      { ...axis, label: withUnit(chart.data.x_label, chart.data.x_unit), size: 42, labelSize: 22 },
      { ...axis, label: withUnit(panel.y_label, panel.y_unit), size: 52, labelSize: 24 },
    ],
    legend: { show: false },
    cursor: { sync: { key: chart.id, setSeries: false }, drag: { x: true, y: false, setScale: false }, points: { size: 7 } },
    hooks: {
      draw: [(plot) => onDraw(chart, plot)],
      setCursor: [(plot) => showCursorValues(chart, plot)],
      setSelect: [(plot) => { if (plot.select.width > 4) zoomTo(chart, plot.posToVal(plot.select.left, "x"), plot.posToVal(plot.select.left + plot.select.width, "x")); }],
    },
  };
}

function onDraw(chart, plot) {
  drawShapes(chart, plot);
  chart.root.dispatchEvent(new CustomEvent("chartdraw", { bubbles: true, detail: plot }));
}

function plotSize(chart, place) {
  const width = Math.max(260, Math.floor(place.clientWidth)), height = chart.data.small ? SMALL : HEIGHT;
  return { width, height: Math.round(Math.min(height.max, Math.max(height.min, width * height.share))) };
}

function draw(chart) {
  chart.plots.forEach((plot) => plot.destroy());
  chart.plots = chart.data.panels.map((panel, at) => {
    const place = chart.places[at];
    return new uPlot(plotOptions(chart, panel, plotSize(chart, place)), uPlot.join(panel.series.map(inRisingX)), place);
  });
}

function zoomTo(chart, low, high) {
  const [least, most] = chart.fullRange;
  const cursorX = chart.cursorX;
  chart.range = low <= least && high >= most ? null : [Math.max(low, least), Math.min(high, most)];
  const [min, max] = chart.range || chart.fullRange;
  for (const plot of chart.plots) { plot.setSelect({ left: 0, width: 0, top: 0, height: 0 }, false); plot.setScale("x", { min, max }); }
  // The cursor stays on its value, not on its pixel; uPlot applies the new scale before the next frame.
  if (cursorX !== null) requestAnimationFrame(() => moveCursor(chart, cursorX, false));
}

function zoomBy(chart, factor) {
  const [low, high] = chart.range || chart.fullRange;
  const middle = chart.cursorX !== null && chart.cursorX >= low && chart.cursorX <= high ? chart.cursorX : (low + high) / 2;
  zoomTo(chart, middle - (middle - low) * factor, middle + (high - middle) * factor);
}

/* Move a zoomed range by a share of its width, within the full range. */
function pan(chart, share) {
  if (!chart.range) return;
  const [low, high] = chart.range, [least, most] = chart.fullRange;
  const by = Math.max(least - low, Math.min(most - high, share * (high - low)));
  zoomTo(chart, low + by, high + by);
}

/* One finger moves the cursor; two zoom and pan, each staying on the value under it. */
function followFingers(chart, place, plotAt) {
  const fingers = new Map();
  let heldValues = null;
  const at = (event) => event.clientX - plotAt().over.getBoundingClientRect().left;
  const valueOf = (left) => plotAt().posToVal(left, "x");
  place.addEventListener("pointerdown", (event) => {
    if (event.pointerType !== "touch") return;
    fingers.set(event.pointerId, at(event));
    heldValues = fingers.size === 2 ? [...fingers.values()].map(valueOf) : null;
  });
  place.addEventListener("pointermove", (event) => {
    if (!fingers.has(event.pointerId)) return;
    fingers.set(event.pointerId, at(event));
    if (fingers.size === 1) { moveCursor(chart, valueOf(at(event)), false); return; }
    if (!heldValues) return;
    const [one, two] = [...fingers.values()];
    if (Math.abs(two - one) < 10) return;
    const perPixel = (heldValues[1] - heldValues[0]) / (two - one);
    const low = heldValues[0] - one * perPixel;
    if (perPixel > 0) zoomTo(chart, low, low + perPixel * plotAt().over.clientWidth);
  });
  for (const end of ["pointerup", "pointercancel", "pointerleave"]) place.addEventListener(end, (event) => { fingers.delete(event.pointerId); heldValues = null; });
}

/* The measured value nearest to x, or null outside the series and in its gaps; of single readings, the last at x itself. */
function valueAt(series, x) {
  if (series.points) return series.y[series.x.lastIndexOf(x)] ?? null;
  let best = -1;
  for (let at = 0; at < series.x.length; at++) if (best < 0 || Math.abs(series.x[at] - x) < Math.abs(series.x[best] - x)) best = at;
  if (best < 0) return null;
  const apart = series.x.length > 1 ? Math.abs(series.x.at(-1) - series.x[0]) / (series.x.length - 1) : 0;
  return Math.abs(series.x[best] - x) > apart * 1.5 ? null : series.y[best];
}

function showCursorValues(chart, plot) {
  const at = plot.cursor.idx;
  if (chart.plots[chart.leading] !== plot) return; // the other plots follow this one
  if (at === null || at === undefined) return;
  const x = plot.data[0][at];
  if (x === chart.cursorX) return;
  chart.cursorX = x;
  chart.caption.textContent = `At ${formatNumber(x, chart.data.x_digits ?? 0)} ${chart.data.x_unit}`;
  for (const [label, cells] of chart.cells) {
    chart.data.panels.forEach((panel, which) => {
      const series = panel.series.find((each) => each.label === label);
      cells[which].textContent = series ? formatNumber(valueAt(series, x), panel.digits ?? 1) : "";
    });
  }
}

function moveCursor(chart, x, announce) {
  for (const plot of chart.plots) plot.setCursor({ left: plot.valToPos(x, "x"), top: plot.over.clientHeight / 2 });
  if (!announce) return;
  const inWords = (cell, at) => cell.textContent && (!chart.data.small || at === chart.leading) && `${cell.textContent} ${chart.data.panels[at].y_unit}`;
  const read = [...chart.cells].filter(([label]) => !chart.hidden.has(label)).map(([label, cells]) => `${label} ${cells.map(inWords).filter(Boolean).join(", ")}`);
  chart.liveRegion.textContent = `${chart.caption.textContent}: ${read.join("; ")}`;
}

function stepCursor(chart, by) {
  const [low, high] = chart.range || chart.fullRange;
  const xs = chart.plots[chart.leading].data[0].filter((x) => x >= low && x <= high);
  const found = xs.findIndex((x) => x >= chart.cursorX);
  const from = chart.cursorX === null ? (by > 0 ? -1 : xs.length) : found < 0 ? xs.length - 1 : found;
  const next = Math.max(0, Math.min(xs.length - 1, from + by));
  moveCursor(chart, xs[next], true);
}

function onKey(chart, event) {
  const many = event.shiftKey ? 10 : 1;
  const acts = {
    ArrowRight: () => stepCursor(chart, many), ArrowLeft: () => stepCursor(chart, -many), Home: () => stepCursor(chart, -Infinity), End: () => stepCursor(chart, Infinity),
    "+": () => zoomBy(chart, 0.5), "=": () => zoomBy(chart, 0.5), "-": () => zoomBy(chart, 2), 0: () => zoomTo(chart, ...chart.fullRange),
    PageUp: () => pan(chart, -0.5), PageDown: () => pan(chart, 0.5),
  };
  if (event.key.startsWith("Page") && !chart.range) return; // nothing to pan: let the page scroll
  if (!acts[event.key] || event.ctrlKey || event.metaKey || event.altKey) return;
  event.preventDefault();
  acts[event.key]();
}

const MARK_PATHS = { circle: "M11 6a5 5 0 1 0 10 0a5 5 0 1 0-10 0z", square: "M11.5 1.5h9v9h-9z", triangle: "M16 1l5.5 10h-11z" };

/* A piece of the line, or the mark of single readings. */
function swatch(style) {
  const drawing = style.mark
    ? svgElement("path", { d: MARK_PATHS[style.mark], fill: `var(${style.hue})` })
    : svgElement("line", { x1: 0, x2: 32, y1: 6, y2: 6, stroke: `var(${style.hue})`, "stroke-width": style.width, "stroke-dasharray": style.dash.join(" ") });
  return svgElement("svg", { viewBox: "0 0 32 12", "aria-hidden": "true" }, drawing);
}

function legend(chart) {
  const list = element("ul", { class: "chart-legend", "aria-label": "Curves shown" });
  for (const [label, style] of chart.styles) {
    const button = element("button", { type: "button", "aria-pressed": "true" }, swatch(style), label);
    button.addEventListener("click", () => {
      if (!chart.hidden.delete(label)) chart.hidden.add(label);
      button.setAttribute("aria-pressed", String(!chart.hidden.has(label)));
      draw(chart);
    });
    list.append(element("li", {}, button));
  }
  return list;
}

function tools(chart) {
  const box = element("div", { class: "chart-tools" }, legend(chart));
  for (const [name, act] of [["Zoom in", () => zoomBy(chart, 0.5)], ["Zoom out", () => zoomBy(chart, 2)], ["Move left", () => pan(chart, -0.5)], ["Move right", () => pan(chart, 0.5)], ["Whole range", () => zoomTo(chart, ...chart.fullRange)]]) {
    const button = element("button", { type: "button" }, name);
    button.addEventListener("click", act);
    box.append(button);
  }
  box.append(...saveButtons(chart));
  return box;
}

/* A row for each curve; with many small panels, a row for each panel. */
function cursorTable(chart) {
  chart.caption = element("caption", {}, "Move along the curves to read them here");
  const { panels, small } = chart.data, labels = [...chart.styles.keys()];
  for (const label of labels) chart.cells.set(label, panels.map(() => element("td", { class: "num" }, "–")));
  const inUnit = (panel) => withUnit(panel.title, panel.y_unit);
  const heads = small ? labels.map((label) => withUnit(label, panels[0].y_unit)) : panels.map(inUnit);
  const rows = small ? panels.map((panel, at) => [panel.title, labels.map((label) => chart.cells.get(label)[at])]) : labels.map((label) => [label, chart.cells.get(label)]);
  const first = element("tr", {}, element("th", { scope: "col" }, small ? "Panel" : "Curve"), ...heads.map((words) => element("th", { scope: "col", class: "num" }, words)));
  const body = element("tbody", {}, ...rows.map(([words, cells]) => element("tr", {}, element("th", { scope: "row" }, words), ...cells)));
  const box = { class: "table-scroll chart-readout", tabindex: "0", role: "region", "aria-label": "Values at the cursor" };
  return element("div", box, element("table", { class: "figures" }, chart.caption, element("thead", {}, first), body));
}

function valuesTable(chart, panel) {
  const xs = [...new Set(panel.series.flatMap((series) => series.x))].toSorted((a, b) => a - b);
  const every = Math.ceil(xs.length / ROWS_IN_TABLE);
  const row = element("tr", {}, element("th", { scope: "col" }, withUnit(chart.data.x_label, chart.data.x_unit)), ...panel.series.map((series) => element("th", { scope: "col", class: "num" }, series.label)));
  const body = element("tbody");
  for (let at = 0; at < xs.length; at += every) {
    body.append(element("tr", {}, element("th", { scope: "row" }, formatNumber(xs[at], chart.data.x_digits ?? 0)),
      ...panel.series.map((series) => element("td", { class: "num" }, formatNumber(valueAt(series, xs[at]), panel.digits ?? 1)))));
  }
  const title = every > 1 ? `${panel.title}, ${panel.y_unit}: one value in ${every}` : `${panel.title}, ${panel.y_unit}`;
  return element("table", { class: "figures" }, element("caption", {}, title), element("thead", {}, row), body);
}

function valuesDetails(chart) {
  const box = element("div", { class: "chart-values", tabindex: "0", role: "region", "aria-label": "Values of the curves" });
  const details = element("details", {}, element("summary", {}, "Values as a table"), box);
  details.addEventListener("toggle", () => { if (details.open && !box.childElementCount) box.append(...chart.data.panels.map((panel) => valuesTable(chart, panel))); });
  return details;
}

function buildChart(root, number) {
  const data = JSON.parse(document.getElementById(root.dataset.source).textContent);
  const all = data.panels.flatMap((panel) => panel.series.flatMap((series) => series.x));
  if (!all.length) { root.append(element("p", { class: "empty" }, "Nothing measured to draw yet.")); return; }
  const fullRange = data.x_range || all.reduce(([low, high], x) => [Math.min(low, x), Math.max(high, x)], [Infinity, -Infinity]);
  const chart = {
    id: `chart-${number}`, root, data, fullRange, styles: lineStyles(data), hidden: new Set(), cells: new Map(),
    plots: [], places: [], leading: 0, range: null, cursorX: null,
  };
  chart.liveRegion = element("p", { class: "visually-hidden", role: "status" });
  root.chart = chart;
  root.classList.add("chart");
  const panels = element("div", { class: data.small ? "chart-panels chart-small" : "chart-panels" });
  root.append(tools(chart), panels);
  for (const panel of data.panels) {
    const place = element("div", { class: "chart-plot", tabindex: "0", role: "group", "aria-label": `${panel.title}: curves of ${[...new Set(panel.series.map((series) => series.label))].join(", ")}`, "aria-describedby": `${chart.id}-hint` });
    const which = chart.places.push(place) - 1;
    for (const leads of ["pointerenter", "pointerdown", "keydown"]) place.addEventListener(leads, () => { chart.leading = which; }, true);
    place.addEventListener("keydown", (event) => onKey(chart, event));
    followFingers(chart, place, () => chart.plots[which]);
    panels.append(element("div", { class: "chart-panel" }, element("p", { class: "chart-title" }, panel.title), place));
  }
  const hint = element("p", { class: "chart-hint", id: `${chart.id}-hint` }, "Drag along the curve to zoom. ", element("span", { class: "chart-hint-keys" }, "Keys: arrows move the cursor, + and − zoom, Page Up and Page Down move along, 0 shows the whole range."));
  root.append(hint, cursorTable(chart), valuesDetails(chart), chart.liveRegion);
  draw(chart);
  new ResizeObserver(() => chart.plots.forEach((plot, at) => {
    const size = plotSize(chart, chart.places[at]);
    if (size.width !== plot.width) plot.setSize(size);
  })).observe(root);
  document.addEventListener("themechange", () => draw(chart));
}

let chartCount = 0;
function start(scope) {
  for (const root of scope.querySelectorAll("[data-chart]:not(.chart)")) buildChart(root, ++chartCount);
}

/* Print the curves as ink on white, also from the dark theme. */
function setTheme(theme) {
  document.documentElement.dataset.bsTheme = theme;
  document.dispatchEvent(new CustomEvent("themechange", { detail: theme }));
}
window.addEventListener("beforeprint", () => { if (document.documentElement.dataset.bsTheme === "dark") { document.documentElement.dataset.wasDark = "1"; setTheme("light"); } });
window.addEventListener("afterprint", () => { if (document.documentElement.dataset.wasDark) { delete document.documentElement.dataset.wasDark; setTheme("dark"); } });

// Text on a canvas is not redrawn when its font arrives.
document.fonts.load('13px "IBM Plex Sans"').finally(() => {
  start(document);
  document.addEventListener("htmx:load", (event) => start(event.target.parentElement || document));
});
