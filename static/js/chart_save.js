/* Charts saved as pictures: a PNG of what is on the screen, an SVG of the same curves.

   <ul id="KEY"><li><svg>...</svg>words</li>...</ul> <div data-chart data-key="KEY"> adds the key: each drawing as it looks
   on the page, and its text. */

import { shapesOf } from "./chart_limits.js";
import { colour, tickLabels, withUnit } from "./chart_parts.js";
import { isDifference } from "./chart_scales.js";
import { tool } from "./chart_tools.js";
import { element, svgElement } from "./elements.js";

const PAD = 16, LINE = 22, BESIDE = 46, PANEL = { width: 880, height: 380, left: 64, right: 16, top: 30, bottom: 48 };
const FONT = '"IBM Plex Sans", sans-serif';
const MARKS = { circle: "●", square: "■", triangle: "▲" };
const shownStyles = (chart) => [...chart.styles].filter(([label]) => !chart.hidden.has(label));

/* The key of the page. Its drawings get their style as attributes, since the picture has no style sheet. */
function readKey(chart) {
  return [...(document.getElementById(chart.root.dataset.key)?.children || [])].map((item) => {
    const { width, height } = item.querySelector("svg").viewBox.baseVal;
    const drawing = svgElement("svg", { xmlns: "http://www.w3.org/2000/svg", viewBox: `0 0 ${width} ${height}`, width, height });
    for (const shape of item.querySelector("svg").children) {
      const copy = shape.cloneNode(), style = getComputedStyle(shape);
      copy.removeAttribute("class");
      for (const name of ["fill", "stroke", "stroke-width", "stroke-dasharray"]) copy.setAttribute(name, style.getPropertyValue(name));
      drawing.append(copy);
    }
    return { words: item.textContent.trim(), drawing, width, height };
  });
}

function download(blob, kind) {
  const title = document.title.split(" · ")[0].toLowerCase().replace(/[^\p{L}\p{N}]+/gu, "-").replace(/^-|-$/g, "");
  const link = element("a", { href: URL.createObjectURL(blob), download: `${title || "curves"}.${kind}` });
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(() => URL.revokeObjectURL(link.href), 10000);
}

async function png(chart) {
  const ratio = window.devicePixelRatio || 1;
  const shown = chart.shownPanels(), canvases = shown.map((panel) => chart.plots[chart.data.panels.indexOf(panel)].ctx.canvas);
  const styles = shownStyles(chart), key = readKey(chart);
  const canvas = document.createElement("canvas"), pen = canvas.getContext("2d");
  pen.font = `${13 * ratio}px ${FONT}`;
  const texts = [...styles.map(([label]) => label), ...key.map(({ words }) => words)];
  const widest = Math.max(...texts.map((words) => pen.measureText(words).width + BESIDE * ratio), ...canvases.map((each) => each.width));
  canvas.width = Math.ceil(widest) + 2 * PAD * ratio;
  canvas.height = canvases.reduce((sum, each) => sum + each.height + LINE * ratio, (2 * PAD + LINE * texts.length) * ratio);
  pen.fillStyle = colour("--sheet");
  pen.fillRect(0, 0, canvas.width, canvas.height);
  pen.textBaseline = "middle";
  let top = PAD * ratio;
  canvases.forEach((each, at) => {
    pen.fillStyle = colour("--ink");
    pen.font = `600 ${14 * ratio}px ${FONT}`;
    pen.fillText(withUnit(shown[at].title, shown[at].y_unit), PAD * ratio, top + (LINE / 2) * ratio);
    pen.drawImage(each, PAD * ratio, top + LINE * ratio);
    top += each.height + LINE * ratio;
  });
  pen.font = `${13 * ratio}px ${FONT}`;
  for (const [label, style] of styles) {
    const middle = top + (LINE / 2) * ratio;
    if (style.mark) { pen.fillStyle = colour(style.hue); pen.fillText(MARKS[style.mark], (PAD + 12) * ratio, middle); }
    pen.strokeStyle = colour(style.hue);
    pen.lineWidth = style.mark ? 0.01 : style.width * ratio;
    pen.setLineDash(style.dash.map((part) => part * ratio));
    pen.beginPath();
    pen.moveTo(PAD * ratio, middle);
    pen.lineTo((PAD + 36) * ratio, middle);
    pen.stroke();
    pen.fillStyle = colour("--ink");
    pen.fillText(label, (PAD + BESIDE) * ratio, middle);
    top += LINE * ratio;
  }
  for (const { words, drawing, width, height } of key) {
    const image = new Image();
    image.src = `data:image/svg+xml,${encodeURIComponent(new XMLSerializer().serializeToString(drawing))}`;
    await image.decode();
    pen.drawImage(image, PAD * ratio, top + ((LINE - height) / 2) * ratio, width * ratio, height * ratio);
    pen.fillText(words, (PAD + BESIDE) * ratio, top + (LINE / 2) * ratio);
    top += LINE * ratio;
  }
  canvas.toBlob((blob) => download(blob, "png"), "image/png");
}

/* Ticks at round values of a range, about so many, with their labels. */
function ticks(low, high, about, signed = false) {
  const rough = (high - low) / about;
  const power = 10 ** Math.floor(Math.log10(rough));
  const step = [1, 2, 5, 10].map((each) => each * power).find((each) => each >= rough);
  const found = [];
  for (let value = Math.ceil(low / step - 1e-9) * step; value <= high + step * 1e-9; value += step) found.push(value);
  return tickLabels(found, step, signed).map((words, at) => [found[at], words]);
}

/* Points in the picture, in segments between the gaps. */
function segments(series, values, toX, toY, range) {
  const parts = [[]];
  series.x.forEach((x, at) => {
    const y = values[at];
    if (y === null || y === undefined || x < range[0] || x > range[1]) { if (parts.at(-1).length) parts.push([]); return; }
    parts.at(-1).push(`${toX(x).toFixed(1)},${toY(y).toFixed(1)}`);
  });
  return parts.filter((part) => part.length > 1);
}

/* The shapes of chart_limits.js. */
function underShape(shape, frame) {
  if (shape.kind === "reading") return overShape(shape, frame);
  const { left, right, toY } = frame;
  if (shape.kind === "level") return svgElement("line", { x1: left, x2: right, y1: toY(shape.y), y2: toY(shape.y), stroke: colour("--ink-soft"), "stroke-dasharray": "8 3 1.5 3" });
  return svgElement("rect", { x: left, width: right - left, y: toY(shape.high), height: toY(shape.low) - toY(shape.high), fill: colour("--accent-wash"), stroke: colour("--edge") });
}

function overShape(shape, { toX, toY }) {
  const hue = colour(shape.hue), x = toX(shape.x), y = toY(shape.y);
  const stroke = { stroke: hue, "stroke-width": shape.size < 2 ? 0.25 : 1.5, fill: "none" };
  if (shape.kind === "crossing") return svgElement("path", { ...stroke, d: `M${toX(shape.low)} ${y}H${toX(shape.high)}M${x - 5} ${y - 5}l10 10M${x - 5} ${y + 5}l10-10` });
  const outline = shape.outline.map(([right, down]) => `${(x + shape.size * right).toFixed(1)},${(y + shape.size * down).toFixed(1)}`).join(" ");
  const bar = shape.bar && shape.bar[1] > shape.bar[0] ? [svgElement("path", { ...stroke, d: `M${x} ${toY(shape.bar[0])}V${toY(shape.bar[1])}` })] : [];
  return svgElement("g", {}, ...bar, svgElement("polygon", { ...stroke, points: outline, fill: shape.hollow ? colour("--sheet") : hue }));
}

function panelPicture(chart, panel, top) {
  const at = chart.data.panels.indexOf(panel), plot = chart.plots[at];
  const range = [plot.scales.x.min, plot.scales.x.max], [low, high] = [plot.scales.y.min, plot.scales.y.max];
  const { left, right } = PANEL, bottom = top + PANEL.height - PANEL.bottom, ceiling = top + PANEL.top;
  const toX = (x) => left + ((x - range[0]) / (range[1] - range[0])) * (PANEL.width - left - right);
  const toY = (y) => bottom - ((y - low) / (high - low)) * (bottom - ceiling);
  const text = (words, x, y, more = {}) => svgElement("text", { x, y, fill: colour("--ink"), "font-size": 13, ...more }, words);
  const group = svgElement("g", {}, text(panel.title, left, top + 18, { "font-weight": 600 }));
  for (const [value, words] of ticks(...range, 8)) {
    group.append(svgElement("line", { x1: toX(value), x2: toX(value), y1: ceiling, y2: bottom, stroke: colour("--chart-grid") }), text(words, toX(value), bottom + 17, { "text-anchor": "middle" }));
  }
  for (const [value, words] of ticks(low, high, 6, isDifference(panel))) {
    group.append(svgElement("line", { x1: left, x2: PANEL.width - right, y1: toY(value), y2: toY(value), stroke: colour("--chart-grid") }), text(words, left - 6, toY(value) + 4, { "text-anchor": "end" }));
  }
  group.append(text(withUnit(chart.data.x_label, chart.data.x_unit), (left + PANEL.width - right) / 2, bottom + 37, { "text-anchor": "middle" }));
  const middle = (ceiling + bottom) / 2;
  group.append(text(withUnit(panel.y_label, panel.y_unit), 14, middle, { "text-anchor": "middle", transform: `rotate(-90 14 ${middle})` }));
  if (isDifference(panel) && low < 0 && high > 0) group.append(svgElement("line", { x1: left, x2: PANEL.width - right, y1: toY(0), y2: toY(0), stroke: colour("--ink-soft") }));
  const { under, over } = shapesOf(chart, at), frame = { left, right: PANEL.width - right, toX, toY };
  group.append(...under.map((shape) => underShape(shape, frame)));
  for (const series of panel.series) {
    if (series.points || chart.hidden.has(series.label)) continue;
    const style = chart.styles.get(series.label);
    const both = (series.low && series.high) ? [segments(series, series.low, toX, toY, range), segments(series, series.high, toX, toY, range)] : [[], []];
    both[0].forEach((part, which) => group.append(svgElement("polygon", { points: [...part, ...both[1][which].toReversed()].join(" "), fill: colour(style.hue), "fill-opacity": 0.18 })));
    for (const part of segments(series, series.y, toX, toY, range)) {
      group.append(svgElement("polyline", { points: part.join(" "), fill: "none", stroke: colour(style.hue), "stroke-width": style.width, "stroke-dasharray": style.dash.join(" "), "stroke-linejoin": "round" }));
    }
  }
  group.append(...over.map((shape) => overShape(shape, frame)));
  return group;
}

function svg(chart) {
  const styles = shownStyles(chart), key = readKey(chart), shown = chart.shownPanels(), panels = shown.length;
  const height = PAD * 2 + panels * PANEL.height + (styles.length + key.length) * LINE;
  const middle = (at) => PAD + panels * PANEL.height + at * LINE + LINE / 2;
  const beside = (words, y) => svgElement("text", { x: PAD + BESIDE, y: y + 4, fill: colour("--ink"), "font-size": 13 }, words);
  const root = svgElement("svg", { xmlns: "http://www.w3.org/2000/svg", viewBox: `0 0 ${PANEL.width} ${height}`, width: PANEL.width, height, "font-family": FONT.replaceAll('"', "'") },
    svgElement("title", {}, document.title), svgElement("rect", { width: PANEL.width, height, fill: colour("--sheet") }));
  shown.forEach((panel, at) => root.append(panelPicture(chart, panel, PAD + at * PANEL.height)));
  styles.forEach(([label, style], at) => {
    const y = middle(at);
    root.append(style.mark ? svgElement("text", { x: PAD + 12, y: y + 4, fill: colour(style.hue), "font-size": 13 }, MARKS[style.mark]) : svgElement("line", { x1: PAD, x2: PAD + 36, y1: y, y2: y, stroke: colour(style.hue), "stroke-width": style.width, "stroke-dasharray": style.dash.join(" ") }), beside(label, y));
  });
  key.forEach(({ words, drawing, height: tall }, at) => {
    const y = middle(styles.length + at);
    drawing.setAttribute("x", PAD);
    drawing.setAttribute("y", y - tall / 2);
    root.append(drawing, beside(words, y));
  });
  download(new Blob([new XMLSerializer().serializeToString(root)], { type: "image/svg+xml" }), "svg");
}

export function saveTools(chart) {
  return [tool("Save as PNG", "picture", () => png(chart)), tool("Save as SVG", "vector", () => svg(chart))];
}
