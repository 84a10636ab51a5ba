/* The toolbar of a chart, its legend, its values as a table, and the strip that says in words where lines differ. */

import { swatch, withUnit } from "./chart_parts.js";
import { valueAt } from "./chart_reading.js";
import { isDifference } from "./chart_scales.js";
import { element, svgElement } from "./elements.js";
import { formatNumber } from "./numbers.js";

const ROWS_IN_TABLE = 60;

/* A symbol of the one file of icons, whose address the page states. */
function icon(name) {
  const { icons } = document.getElementById("chart-script").dataset;
  return svgElement("svg", { class: "icon", "aria-hidden": "true" }, svgElement("use", { href: `${icons}#${name}` }));
}

export function tool(name, drawing, act, more = {}) {
  const button = element("button", { type: "button", class: "icon-btn", "aria-label": name, "data-tip": name, ...more }, icon(drawing));
  button.addEventListener("click", () => act(button));
  return button;
}

/* A choice that this browser remembers for all charts. */
export function remembered(name, fallback) {
  try { return localStorage.getItem(`chart-${name}`) ?? fallback; } catch { return fallback; }
}
export function remember(name, value) {
  try { localStorage.setItem(`chart-${name}`, value); } catch { /* a private window: it holds until the page is left */ }
}

export function saveLink(address) {
  return element("a", { class: "icon-btn", href: address, "aria-label": "Save as CSV", "data-tip": "Save as CSV" }, icon("download"));
}

export function separator() {
  return element("span", { class: "toolbar-gap", "aria-hidden": "true" });
}

/* One button shows and hides a label in all panels. A difference is always shown. */
export function legend(chart) {
  const list = element("ul", { class: "chart-legend", "aria-label": "Curves shown" });
  const differences = new Set(chart.data.panels.filter(isDifference).flatMap((panel) => panel.series.map((series) => series.label)));
  for (const [label, style] of chart.styles) {
    if (differences.has(label)) continue;
    const button = element("button", { type: "button", "aria-pressed": String(!chart.hidden.has(label)) }, swatch(style), label);
    button.addEventListener("click", () => {
      if (!chart.hidden.delete(label)) chart.hidden.add(label);
      button.setAttribute("aria-pressed", String(!chart.hidden.has(label)));
      chart.redraw();
    });
    for (const [event, shown] of [["pointerenter", label], ["focus", label], ["pointerleave", null], ["blur", null]]) button.addEventListener(event, () => chart.setHighlight(shown));
    list.append(element("li", {}, button));
  }
  return list;
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
  const named = panel.y_unit ? `${panel.title}, ${panel.y_unit}` : panel.title;
  return element("table", { class: "figures" }, element("caption", {}, every > 1 ? `${named}: one value in ${every}` : named), element("thead", {}, row), body);
}

/* Made when it is first opened. */
export function valuesBox(chart) {
  return element("div", { class: "chart-values", id: `${chart.id}-values`, tabindex: "0", role: "region", "aria-label": "Curve values", hidden: "" });
}

export function toggleValues(chart, button) {
  const box = chart.values;
  box.hidden = !box.hidden;
  button.setAttribute("aria-expanded", String(!box.hidden));
  if (!box.childElementCount) box.append(...chart.data.panels.map((panel) => valuesTable(chart, panel)));
}

/* "verdicts": [{"from": ..., "to": ..., "verdict": "more" | "less" | "same", "text": ...}] of a panel, drawn under it. */
export function placeVerdicts(chart, panel, plot, box) {
  if (!box) return;
  const { min, max } = plot.scales.x, frame = box.getBoundingClientRect(), over = plot.over.getBoundingClientRect();
  box.style.height = "";
  box.replaceChildren(...panel.verdicts.filter(({ from, to }) => to > min && from < max).map(({ from, to, verdict, text }) => {
    const left = plot.valToPos(Math.max(from, min), "x"), right = plot.valToPos(Math.min(to, max), "x");
    const piece = element("li", { class: `verdict-piece verdict-piece-${verdict}`, title: text }, element("span", {}, text));
    piece.style.left = `${over.left - frame.left + left}px`;
    piece.style.width = `${Math.max(2, right - left - 1)}px`;
    return piece;
  }));
}
