/* Curves over each other, drawn by uPlot.

   <div data-chart data-source="ID"></div> where ID names a json_script block:

   {"x_label": "Engine speed", "x_unit": "rpm", "x_digits": 0,
    "panels": [{"title": "Power", "y_label": "Power at the wheel", "y_unit": "kW", "digits": 1,
                "series": [{"label": "Run 3", "state": "before" | "after" | "other" | "aside",
                            "x": [...], "y": [...], "low": [...], "high": [...]}]}]}

   Optional beside x_label: "small": true lays out many panels side by side, "choose": true shows one panel at a time with its
   difference, "x_range": [from, to] is the full range. Optional in a panel: "kind": "difference" (a strip about zero), "low": true (as low as a strip), "of",
   "peaks" (chart_reading.js), "verdicts" (chart_tools.js), "usual", "min_span" (chart_scales.js), "y_range". In a series: "group"
   (chart_reading.js), "hue": 1 to 12, "like": "Run 3" draws it in the style of that label. Limits and single readings are described
   in chart_limits.js, the key of a saved picture in chart_save.js. data-csv names an address with the same curves, data-list a
   list on the page that is the legend (chart_list.js).
   x_digits (0) and digits (1) are the decimals of the values at the cursor. low and high are optional and draw a band. null in
   y is a gap: not measured. x need not be the same in all series. Before is grey and dashed, after solid in the accent; others
   differ by dash as well as by hue, for readers who see no hues.
   Drag or + zooms in, - and 0 zoom out, Page Up and Page Down pan, the arrow keys move the cursor, whose values stand beside it.
   One finger moves the cursor, two zoom and pan.
   A script that draws over the chart finds it in the element's property chart, and hears an event chartdraw from the element
   each time a plot is drawn, with the plot in its detail. */

import { drawShapes } from "./chart_limits.js";
import { connectList } from "./chart_list.js";
import { colour, lineStyles, tickLabels, withUnit } from "./chart_parts.js";
import { drawWords, endLabelWidth, readingBox, showReading } from "./chart_reading.js";
import { saveTools } from "./chart_save.js";
import { isDifference, rangeOfX, rangeOfY } from "./chart_scales.js";
import { legend, placeVerdicts, remember, remembered, saveLink, separator, toggleValues, tool, valuesBox } from "./chart_tools.js";
import { element } from "./elements.js";
import { formatNumber } from "./numbers.js";

const HEIGHT = { min: 210, max: 320, share: 0.36 };
const ALONE = { min: 240, max: 400, share: 0.4 };
const CHOSEN = { min: 200, max: 236, share: 0.3 };
const DIFFERENCE = { min: 90, max: 110, share: 0.15 };
const SMALL = { min: 215, max: 300, share: 0.46 };
const FAINT = 0.15;
const TWO_COLUMNS_PX = 900;

/* uPlot needs rising x; a run with falling engine speed is sorted. */
function inRisingX(series) {
  const order = [...series.x.keys()].toSorted((a, b) => series.x[a] - series.x[b]);
  const pick = (column) => order.map((at) => column[at]);
  return [pick(series.x), pick(series.y), ...(series.low && series.high ? [pick(series.low), pick(series.high)] : [])];
}

/* Draw the figures of the x axis once under stacked panels. */
function hasFiguresOfX(chart, panel) {
  const shown = chart.shownPanels();
  return chart.data.small || (chart.isBeside && !isDifference(panel)) || panel === shown.at(-1);
}

const BANDS = { after: "--band", before: "--band-before" };
const bandColour = (series, style) => (BANDS[series.state] && !series.hue ? colour(BANDS[series.state]) : `${colour(style.hue)}33`);

function plotOptions(chart, panel, size) {
  const font = `13px "IBM Plex Sans", sans-serif`, signed = isDifference(panel), hasFigures = hasFiguresOfX(chart, panel);
  const axis = { stroke: colour("--ink"), font, labelFont: font, grid: { stroke: colour("--chart-grid"), width: 1 }, ticks: { stroke: colour("--edge"), width: 1 } };
  const series = [{}];
  const bands = [];
  for (const each of panel.series) {
    const style = chart.styles.get(each.label);
    const shown = !chart.hidden.has(each.label), alpha = chart.highlighted && chart.highlighted !== each.label ? FAINT : 1;
    const line = style.mark ? { stroke: "transparent", width: 0, points: { show: false } } : { stroke: colour(style.hue), width: style.width, dash: style.dash, points: { show: each.x.length < 3 } };
    series.push({ label: each.label, show: shown, alpha, ...line });
    if (!each.low || !each.high) continue;
    bands.push({ series: [series.length + 1, series.length], fill: bandColour(each, style) });
    for (let edge = 0; edge < 2; edge++) series.push({ label: each.label, show: shown, alpha, stroke: "transparent", width: 0, points: { show: false } });
  }
  const [min, max] = chart.range || chart.fullRange;
  return {
    ...size, series, bands, padding: [8, chart.endWidth, hasFigures ? 0 : 8, 0],
    focus: { alpha: FAINT },
    scales: { x: { time: false, min, max }, y: { range: (plot) => panel.y_range || rangeOfY(chart, panel, [plot.scales.x.min ?? min, plot.scales.x.max ?? max]) } },
    axes: [
      { ...axis, values: (_plot, ticks, _axis, _space, apart) => (hasFigures ? tickLabels(ticks, apart) : ticks.map(() => "")), ...(hasFigures ? { label: withUnit(chart.data.x_label, chart.data.x_unit), size: 34, labelSize: 20 } : { size: 6 }) },
      { ...axis, values: (_plot, ticks, _axis, _space, apart) => tickLabels(ticks, apart, signed), size: 56, ...(signed ? { space: 26 } : {}) },
    ],
    legend: { show: false },
    cursor: { sync: { key: chart.id, setSeries: false }, drag: { x: true, y: false, setScale: false }, points: { size: 7 } },
    hooks: {
      draw: [(plot) => onDraw(chart, plot)],
      setCursor: [(plot) => onCursor(chart, plot)],
      setSelect: [(plot) => { if (plot.select.width > 4) zoomTo(chart, plot.posToVal(plot.select.left, "x"), plot.posToVal(plot.select.left + plot.select.width, "x")); }],
    },
  };
}

function onDraw(chart, plot) {
  const at = chart.plots.indexOf(plot);
  if (at < 0) return;
  drawShapes(chart, plot);
  drawWords(chart, chart.data.panels[at], plot);
  placeVerdicts(chart, chart.data.panels[at], plot, chart.strips[at]);
  chart.root.dispatchEvent(new CustomEvent("chartdraw", { bubbles: true, detail: plot }));
}

function limitsOfHeight(chart, panel) {
  if (chart.data.small) return SMALL;
  if (isDifference(panel) || panel.low) return DIFFERENCE;
  if (chart.data.choose) return CHOSEN;
  return chart.shownPanels().filter((each) => !isDifference(each) && !each.low).length > 1 ? HEIGHT : ALONE;
}

function plotSize(chart, place, panel) {
  const width = Math.max(260, Math.floor(place.clientWidth)), height = limitsOfHeight(chart, panel);
  return { width, height: Math.round(Math.min(height.max, Math.max(height.min, width * height.share))) + (hasFiguresOfX(chart, panel) ? 40 : 0) };
}

function draw(chart) {
  const cursorX = chart.cursorX;
  chart.plots.forEach((plot) => plot?.destroy());
  chart.plots = [];
  const shown = chart.shownPanels();
  chart.isBeside = chart.wantsBeside && chart.panels.clientWidth >= TWO_COLUMNS_PX && shown.filter((panel) => !isDifference(panel) && !panel.low).length > 1;
  chart.panels.classList.toggle("is-beside", chart.isBeside);
  chart.data.panels.forEach((panel, at) => { chart.places[at].parentElement.hidden = !shown.includes(panel); });
  chart.endWidth = endLabelWidth(chart, chart.places[chart.data.panels.indexOf(shown[0])].clientWidth);
  chart.data.panels.forEach((panel, at) => {
    if (!shown.includes(panel)) { chart.plots[at] = null; return; }
    const place = chart.places[at];
    // The hooks of a plot look it up here, so it must be known before it draws.
    chart.plots[at] = new uPlot(plotOptions(chart, panel, plotSize(chart, place, panel)), uPlot.join(panel.series.map(inRisingX)), (plot, begin) => { chart.plots[at] = plot; place.append(plot.root); begin(); });
  });
  if (!shown.includes(chart.data.panels[chart.leading])) chart.leading = chart.data.panels.indexOf(shown[0]);
  chart.cursorX = null;
  if (cursorX !== null) requestAnimationFrame(() => moveCursor(chart, cursorX, false));
}

const livePlots = (chart) => chart.plots.filter(Boolean);

function zoomTo(chart, low, high) {
  const [least, most] = chart.fullRange;
  const cursorX = chart.cursorX;
  chart.range = low <= least && high >= most ? null : [Math.max(low, least), Math.min(high, most)];
  for (const button of chart.panTools) button.hidden = !chart.range;
  const [min, max] = chart.range || chart.fullRange;
  for (const plot of livePlots(chart)) { plot.setSelect({ left: 0, width: 0, top: 0, height: 0 }, false); plot.setScale("x", { min, max }); }
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

function onCursor(chart, plot) {
  const at = plot.cursor.idx;
  if (chart.plots[chart.leading] !== plot) return; // the other plots follow this one
  if (at === null || at === undefined || plot.cursor.left < 0) return;
  const x = plot.data[0][at];
  if (x === chart.cursorX) return;
  chart.cursorX = x;
  showReading(chart, plot);
}

function moveCursor(chart, x, announce) {
  for (const plot of livePlots(chart)) plot.setCursor({ left: plot.valToPos(x, "x"), top: plot.over.clientHeight / 2 });
  if (announce && chart.readingRows) chart.liveRegion.textContent = `${chart.caption.textContent}: ${chart.readingRows.join("; ")}`;
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
    PageUp: () => pan(chart, -0.5), PageDown: () => pan(chart, 0.5), Escape: () => hideReading(chart),
  };
  if (event.key.startsWith("Page") && !chart.range) return; // nothing to pan: let the page scroll
  if (!acts[event.key] || event.ctrlKey || event.metaKey || event.altKey) return;
  event.preventDefault();
  acts[event.key]();
}

function hideReading(chart) {
  chart.reading.hidden = true;
  chart.cursorX = null;
  for (const plot of livePlots(chart)) plot.setCursor({ left: -10, top: -10 });
}

/* Lines other than that with the label fade; null shows all alike. */
function setHighlight(chart, label) {
  if (chart.highlighted === label) return;
  chart.highlighted = label;
  chart.data.panels.forEach((panel, at) => {
    const plot = chart.plots[at];
    if (!plot) return;
    plot.series.forEach((series, which) => { if (which) series.alpha = label && series.label !== label ? FAINT : 1; });
    plot.redraw(false, false);
  });
}

/* Buttons that choose the panel to be shown, with its difference. */
function panelChoice(chart) {
  const box = element("div", { class: "choice", role: "group", "aria-label": "Show" });
  chart.data.panels.forEach((panel, at) => {
    if (isDifference(panel)) return;
    const button = element("button", { type: "button", "aria-pressed": String(at === chart.chosen) }, panel.title);
    button.addEventListener("click", () => {
      chart.chosen = at;
      for (const other of box.children) other.setAttribute("aria-pressed", String(other === button));
      draw(chart);
    });
    box.append(button);
  });
  return box;
}

function switchTool(chart, name, drawing, property, words) {
  return tool(words, drawing, (button) => {
    chart[property] = !chart[property];
    remember(name, chart[property] ? "yes" : "no");
    button.setAttribute("aria-pressed", String(chart[property]));
    draw(chart);
  }, { "aria-pressed": String(chart[property]) });
}

function tools(chart, list) {
  const main = chart.data.panels.filter((panel) => !isDifference(panel));
  chart.panTools = [["Move left", "left", -0.5], ["Move right", "right", 0.5]].map(([name, drawing, share]) => tool(name, drawing, () => pan(chart, share), { hidden: "" }));
  const box = element("div", { class: "toolbar chart-tools", role: "group", "aria-label": "Chart tools" },
    tool("Zoom in", "zoom-in", () => zoomBy(chart, 0.5)), tool("Zoom out", "zoom-out", () => zoomBy(chart, 2)), ...chart.panTools, tool("Whole range", "whole", () => zoomTo(chart, ...chart.fullRange)), separator());
  if (main.some((panel) => !panel.y_range)) box.append(switchTool(chart, "zero", "from-zero", "fromZero", "Axis from zero"));
  if (main.length > 1 && !chart.data.small && !chart.data.choose) box.append(switchTool(chart, "beside", "side-by-side", "wantsBeside", "Panels side by side"));
  box.append(tool("Values as a table", "table", (button) => toggleValues(chart, button), { "aria-expanded": "false", "aria-controls": `${chart.id}-values` }), separator(), ...saveTools(chart));
  if (chart.root.dataset.csv) box.append(saveLink(chart.root.dataset.csv));
  return element("div", { class: "chart-head" }, ...(chart.data.choose ? [panelChoice(chart)] : []), ...(list ? [] : [legend(chart)]), box);
}

/* A line that is the same in all panels says where the wild values are. */
function wildNote(chart) {
  const beyond = chart.data.panels.flatMap((panel) => panel.series.flatMap((series) => series.x.filter((x, at) => series.y[at] !== null && (x < chart.fullRange[0] || x > chart.fullRange[1]))));
  if (!beyond.length) return [];
  const digits = chart.data.x_digits ?? 0, ends = [Math.min(...beyond), Math.max(...beyond)].map((x) => formatNumber(x, digits));
  const where = ends[0] === ends[1] ? `at ${ends[0]}` : `between ${ends[0]} and ${ends[1]}`;
  return [element("p", { class: "chart-note" }, `Not in the chart: ${formatNumber(beyond.length)} value${beyond.length === 1 ? "" : "s"} ${where} ${chart.data.x_unit}, far from all others. They are in the table.`)];
}

function shownPanels(chart) {
  if (!chart.data.choose) return chart.data.panels;
  return chart.data.panels.filter((panel, at) => at === chart.chosen || panel.of === chart.chosen);
}

function buildChart(root, number) {
  const data = JSON.parse(document.getElementById(root.dataset.source).textContent);
  if (!data.panels.some((panel) => panel.series.some((series) => series.x.length))) { root.append(element("p", { class: "empty" }, "No measured values to draw yet.")); return; }
  const chart = {
    id: `chart-${number}`, root, data, fullRange: rangeOfX(data), styles: lineStyles(data), hidden: new Set(), highlighted: null,
    plots: [], places: [], strips: [], leading: 0, range: null, cursorX: null, chosen: 0, isBeside: false,
    fromZero: remembered("zero", "no") === "yes", wantsBeside: remembered("beside", root.dataset.beside || "no") === "yes",
  };
  Object.assign(chart, { shownPanels: () => shownPanels(chart), redraw: () => draw(chart), setHighlight: (label) => setHighlight(chart, label) });
  chart.liveRegion = element("p", { class: "visually-hidden", role: "status" });
  root.chart = chart;
  root.classList.add("chart");
  chart.reading = readingBox(chart);
  chart.panels = element("div", { class: data.small ? "chart-panels chart-small" : "chart-panels" });
  chart.values = valuesBox(chart);
  const list = root.dataset.list && document.getElementById(root.dataset.list);
  const hint = element("p", { class: "chart-hint", id: `${chart.id}-hint` }, "Drag to zoom. Keys: arrows move the cursor, + and − zoom, Page Up and Page Down move left and right, 0 shows the whole range.");
  root.append(tools(chart, list), chart.panels, ...wildNote(chart), hint, chart.values, chart.liveRegion);
  for (const panel of data.panels) {
    const place = element("div", { class: "chart-plot", tabindex: "0", role: "group", "aria-label": `${panel.title}: curves of ${[...new Set(panel.series.map((series) => series.label))].join(", ")}`, "aria-describedby": hint.id });
    const which = chart.places.push(place) - 1;
    for (const leads of ["pointerenter", "pointerdown", "keydown"]) place.addEventListener(leads, () => { chart.leading = which; }, true);
    place.addEventListener("keydown", (event) => onKey(chart, event));
    place.addEventListener("pointerleave", (event) => { if (event.pointerType === "mouse" && !place.contains(document.activeElement)) hideReading(chart); });
    followFingers(chart, place, () => chart.plots[which]);
    chart.strips[which] = panel.verdicts ? element("ul", { class: "verdict-strip", "aria-label": `Where ${panel.title.toLowerCase()} is more or less` }) : null;
    chart.panels.append(element("div", { class: isDifference(panel) || panel.low ? "chart-panel is-low" : "chart-panel" }, element("p", { class: "chart-title" }, withUnit(panel.title, panel.y_unit)), place, ...(chart.strips[which] ? [chart.strips[which]] : [])));
  }
  chart.panels.prepend(chart.reading);
  if (list) connectList(chart, list);
  draw(chart);
  let width = root.clientWidth;
  new ResizeObserver(() => { if (root.clientWidth !== width) { width = root.clientWidth; draw(chart); } }).observe(root);
  document.addEventListener("themechange", () => { if (root.isConnected) draw(chart); });
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
