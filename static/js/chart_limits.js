/* Limits and single readings on a chart.

   A panel may have "range": [low, high] (shaded), "level": y (a line across), and
   "crossings": [{"label": a series, "x": ..., "y": ..., "low": ..., "high": ...}] (a cross, and its interval as a bar).
   A series may have "points": "circle" | "square" | "triangle" (readings without a line between them), beside it
   "bars": [[low, high], ...] and "hollow": [true, ...]. With "fine": true they are small and behind the curves. */

import { colour } from "./chart_parts.js";

const SIZE = 4.5;
const FINE_SIZE = 1.5;
const PATHS = {
  circle: Array.from({ length: 16 }, (_, corner) => [Math.cos((corner * Math.PI) / 8), Math.sin((corner * Math.PI) / 8)]),
  square: [[-0.9, -0.9], [0.9, -0.9], [0.9, 0.9], [-0.9, 0.9]],
  triangle: [[0, -1.15], [1.1, 0.85], [-1.1, 0.85]],
};
const CROSSES = [[-1.2, -1.2, 1.2, 1.2], [-1.2, 1.2, 1.2, -1.2]];

/* The shapes under and over the curves of a panel, in drawing order; x and y are values, not pixels. */
export function shapesOf(chart, at) {
  const panel = chart.data.panels[at], under = [], over = [];
  if (panel.range) under.push({ kind: "range", low: panel.range[0], high: panel.range[1] });
  if (panel.level !== null && panel.level !== undefined) under.push({ kind: "level", y: panel.level });
  for (const series of panel.series) {
    if (!series.points || chart.hidden.has(series.label)) continue;
    const { hue } = chart.styles.get(series.label);
    series.x.forEach((x, which) => (series.fine ? under : over).push({ size: series.fine ? FINE_SIZE : SIZE, kind: "reading", outline: PATHS[series.points], hue, x, y: series.y[which], bar: series.bars?.[which], hollow: series.hollow?.[which] }));
  }
  for (const { label, ...crossing } of panel.crossings || []) if (!chart.hidden.has(label)) over.push({ kind: "crossing", hue: chart.styles.get(label).hue, ...crossing });
  return { under, over };
}

const hasShapes = (panel) => panel.range || panel.level !== undefined || panel.crossings || panel.series.some((series) => series.points);

function paintUnder(plot, shape) {
  const { ctx, bbox } = plot, y = (value) => plot.valToPos(value, "y", true);
  if (shape.kind === "range") {
    const top = y(shape.high), bottom = y(shape.low);
    for (const edge of [top, bottom]) { ctx.strokeStyle = colour("--edge"); ctx.lineWidth = devicePixelRatio; ctx.beginPath(); ctx.moveTo(bbox.left, edge); ctx.lineTo(bbox.left + bbox.width, edge); ctx.stroke(); }
    ctx.fillStyle = colour("--accent-wash");
    ctx.fillRect(bbox.left, top, bbox.width, bottom - top);
  } else {
    ctx.strokeStyle = colour("--ink-soft");
    ctx.lineWidth = 1.25 * devicePixelRatio;
    ctx.setLineDash([8, 3, 1.5, 3].map((part) => part * devicePixelRatio));
    ctx.beginPath();
    ctx.moveTo(bbox.left, y(shape.y));
    ctx.lineTo(bbox.left + bbox.width, y(shape.y));
    ctx.stroke();
    ctx.setLineDash([]);
  }
}

function paintOver(plot, shape) {
  const { ctx } = plot, size = (shape.size || SIZE) * devicePixelRatio;
  const at = { x: plot.valToPos(shape.x, "x", true), y: plot.valToPos(shape.y, "y", true) };
  ctx.strokeStyle = colour(shape.hue);
  ctx.lineWidth = (shape.size === FINE_SIZE ? 0.25 : 1.5) * devicePixelRatio;
  const lines = shape.kind === "crossing" ? CROSSES.map(([a, b, c, d]) => [at.x + a * size, at.y + b * size, at.x + c * size, at.y + d * size]) : [];
  if (shape.bar && shape.bar[1] > shape.bar[0]) lines.push([at.x, plot.valToPos(shape.bar[0], "y", true), at.x, plot.valToPos(shape.bar[1], "y", true)]);
  if (shape.kind === "crossing") { ctx.lineWidth *= 1.4; lines.push([plot.valToPos(shape.low, "x", true), at.y, plot.valToPos(shape.high, "x", true), at.y]); }
  for (const [x, y, toX, toY] of lines) { ctx.beginPath(); ctx.moveTo(x, y); ctx.lineTo(toX, toY); ctx.stroke(); }
  if (shape.kind !== "reading") return;
  ctx.fillStyle = shape.hollow ? colour("--sheet") : ctx.strokeStyle;
  ctx.beginPath();
  shape.outline.forEach(([x, y], which) => ctx[which ? "lineTo" : "moveTo"](at.x + x * size, at.y + y * size));
  ctx.closePath();
  ctx.fill();
  ctx.stroke();
}

export function drawShapes(chart, plot) {
  const at = chart.plots.indexOf(plot);
  if (at < 0 || !hasShapes(chart.data.panels[at])) return;
  const { under, over } = shapesOf(chart, at), { ctx, bbox } = plot;
  ctx.save();
  ctx.beginPath();
  ctx.rect(bbox.left, bbox.top, bbox.width, bbox.height);
  ctx.clip();
  for (const shape of over) paintOver(plot, shape);
  ctx.globalCompositeOperation = "destination-over"; // beneath what is drawn already
  for (const shape of under.toReversed()) (shape.kind === "reading" ? paintOver : paintUnder)(plot, shape);
  ctx.restore();
}
