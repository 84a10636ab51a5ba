/* What the scripts of a chart share: the colours of the page, the style of each line, labels with their unit, axis figures. */

import { svgElement } from "./elements.js";
import { formatNumber } from "./numbers.js";

export const colour = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();
export const withUnit = (label, unit) => (unit ? `${label} (${unit})` : label);

const HUES = 12;
const DASHES = [[8, 4], [2, 3], [10, 3, 2, 3], [14, 3]];
const SIDES = { before: { hue: "--before", dash: [6, 5], width: 2 }, after: { hue: "--accent", dash: [], width: 2.25 }, aside: { hue: "--ink-soft", dash: [2, 4], width: 1.5 } };

function otherStyle(number, state) {
  const at = number - 1, dash = SIDES[state]?.dash || DASHES[(at + Math.floor(at / HUES)) % DASHES.length];
  return { hue: `--line-${(at % HUES) + 1}`, dash, width: SIDES[state]?.width || 2 };
}

/* Style of each label, the same in every panel, legend and theme. A "hue" tells lines of one side apart. */
export function lineStyles(data) {
  const found = new Map();
  let others = 0;
  for (const { label, state, like, points, hue } of data.panels.flatMap((panel) => panel.series)) {
    if (found.has(label)) continue;
    if (like) found.set(label, { ...found.get(like), mark: undefined });
    else if (hue && state !== "aside") found.set(label, otherStyle(hue, state));
    else found.set(label, SIDES[state] ? { ...SIDES[state] } : otherStyle(++others));
    if (points) found.get(label).mark = points;
  }
  return found;
}

const MARK_PATHS = { circle: "M11 6a5 5 0 1 0 10 0a5 5 0 1 0-10 0z", square: "M11.5 1.5h9v9h-9z", triangle: "M16 1l5.5 10h-11z" };

/* A piece of the line, or the mark of single readings. */
export function swatch(style) {
  const drawing = style.mark
    ? svgElement("path", { d: MARK_PATHS[style.mark], fill: `var(${style.hue})` })
    : svgElement("line", { x1: 0, x2: 32, y1: 6, y2: 6, stroke: `var(${style.hue})`, "stroke-width": style.width, "stroke-dasharray": style.dash.join(" ") });
  return svgElement("svg", { viewBox: "0 0 32 12", "aria-hidden": "true", class: "chart-swatch" }, drawing);
}

/* As many decimals as tell the ticks apart: 0.025 needs three. */
export function tickLabels(ticks, step, signed = false) {
  let digits = 0;
  while (digits < 6 && Math.abs(step * 10 ** digits - Math.round(step * 10 ** digits)) > 1e-6) digits++;
  return ticks.map((tick) => formatNumber(tick, digits, { signed }));
}
