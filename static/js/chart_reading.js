/* What a chart says beside its lines: a label at the end of each line, peaks, the zero line, the reading at the cursor.

   A series may have a "group", such as "before" or "40 % grip": its runs share one label and, if they are many, one mean in the
   reading. A panel may have "peaks": [{"label": a series, "x": ..., "y": ..., "text": ...}], and "of": the place of the panel
   whose difference it shows; the reading then puts the difference under the values of that panel. */

import { colour, swatch, withUnit } from "./chart_parts.js";
import { isDifference } from "./chart_scales.js";
import { element } from "./elements.js";
import { formatNumber } from "./numbers.js";

const FONT = '"IBM Plex Sans", sans-serif';
const LINE = 15, SWATCH = 18, LONGEST = 24, WIDE = 560;
const MAX_ROWS = 12, SINGLE_ROWS = 6;

const shorten = (words) => (words.length > LONGEST ? `${words.slice(0, LONGEST - 1)}…` : words);
const drawn = (chart, panel) => panel.series.filter((series) => !series.points && !chart.hidden.has(series.label));

/* The visible lines of a panel by what they have in common. */
function groupsOf(chart, panel) {
  const found = new Map();
  for (const series of drawn(chart, panel)) {
    const key = series.group || series.label;
    found.set(key, [...(found.get(key) || []), series]);
  }
  return [...found].map(([key, members]) => ({ key, members, words: members.length > 1 ? `${key}, ${members.length} runs` : members[0].group || members[0].label }));
}

function hasEndLabels(chart, panel, width) {
  return width >= WIDE && !chart.data.small && !isDifference(panel) && groupsOf(chart, panel).length > 1;
}

/* Space for the labels right of the lines, the same in all panels so that their axes stay in line. */
export function endLabelWidth(chart, width) {
  const labelled = chart.data.panels.filter((panel) => hasEndLabels(chart, panel, width));
  const pen = document.createElement("canvas").getContext("2d");
  pen.font = `12px ${FONT}`;
  const widest = Math.max(0, ...labelled.flatMap((panel) => groupsOf(chart, panel).map(({ words }) => pen.measureText(shorten(words)).width)));
  return widest ? Math.ceil(widest) + SWATCH + 12 : 12;
}

function lastPoint(series, low, high) {
  for (let at = series.x.length - 1; at >= 0; at--) if (series.y[at] !== null && series.x[at] >= low && series.x[at] <= high) return at;
  return -1;
}

function drawEndLabels(chart, panel, plot) {
  const { ctx, bbox } = plot, ratio = devicePixelRatio, { min, max } = plot.scales.x;
  const labels = groupsOf(chart, panel).flatMap(({ members, words }) => {
    const ends = members.map((series) => [series, lastPoint(series, min, max)]).filter(([, at]) => at >= 0);
    if (!ends.length) return [];
    const y = ends.reduce((sum, [series, at]) => sum + plot.valToPos(series.y[at], "y", true), 0) / ends.length;
    return [{ y, words: shorten(words), style: chart.styles.get(members[0].label) }];
  }).toSorted((a, b) => a.y - b.y);
  const fitting = labels.length * LINE * ratio > bbox.height ? [] : labels; // the list says what they are
  const low = bbox.top + 6 * ratio, high = bbox.top + bbox.height - 6 * ratio;
  fitting.forEach((label, at) => { label.y = Math.max(label.y, at ? fitting[at - 1].y + LINE * ratio : low); });
  for (let at = fitting.length - 1; at >= 0; at--) fitting[at].y = Math.min(fitting[at].y, at < fitting.length - 1 ? fitting[at + 1].y - LINE * ratio : high);
  ctx.font = `${12 * ratio}px ${FONT}`;
  ctx.textBaseline = "middle";
  ctx.textAlign = "left";
  for (const { y, words, style } of fitting) {
    const left = bbox.left + bbox.width + 6 * ratio;
    line(ctx, [left, y, left + SWATCH * ratio, y], style, ratio);
    ctx.fillStyle = colour("--ink");
    ctx.fillText(words, left + (SWATCH + 4) * ratio, y);
  }
}

function line(ctx, [x, y, toX, toY], { hue, width, dash }, ratio) {
  ctx.strokeStyle = colour(hue);
  ctx.lineWidth = width * ratio;
  ctx.setLineDash(dash.map((part) => part * ratio));
  ctx.beginPath();
  ctx.moveTo(x, y);
  ctx.lineTo(toX, toY);
  ctx.stroke();
  ctx.setLineDash([]);
}

function drawZero(plot) {
  const { min, max } = plot.scales.y, { ctx, bbox } = plot;
  if (!(min < 0 && max > 0)) return;
  const y = plot.valToPos(0, "y", true);
  line(ctx, [bbox.left, y, bbox.left + bbox.width, y], { hue: "--ink-soft", width: 1, dash: [] }, devicePixelRatio);
}

function drawPeaks(chart, panel, plot) {
  const { ctx } = plot, ratio = devicePixelRatio, { min, max } = plot.scales.x;
  (panel.peaks || []).filter(({ label, x }) => !chart.hidden.has(label) && x >= min && x <= max).forEach(({ label, x, y, text, below }) => {
    const at = [plot.valToPos(x, "x", true), plot.valToPos(y, "y", true)];
    ctx.strokeStyle = colour(chart.styles.get(label).hue);
    ctx.fillStyle = colour("--sheet");
    ctx.lineWidth = 2 * ratio;
    ctx.beginPath();
    ctx.arc(...at, 4 * ratio, 0, 2 * Math.PI);
    ctx.fill();
    ctx.stroke();
    ctx.font = `600 ${12 * ratio}px ${FONT}`;
    ctx.textAlign = "center";
    ctx.textBaseline = "middle";
    ctx.fillStyle = colour("--ink");
    ctx.fillText(text, at[0], at[1] + (below ? 15 : -14) * ratio);
  });
}

function drawOutside(panel, plot) {
  if (!panel.outside) return;
  const { ctx, bbox } = plot, ratio = devicePixelRatio;
  ctx.font = `${12 * ratio}px ${FONT}`;
  ctx.textAlign = "right";
  ctx.textBaseline = "top";
  ctx.fillStyle = colour("--ink-soft");
  ctx.fillText(`${formatNumber(panel.outside)} value${panel.outside === 1 ? "" : "s"} outside this scale`, bbox.left + bbox.width - 4 * ratio, bbox.top + 4 * ratio);
}

export function drawWords(chart, panel, plot) {
  const { ctx } = plot;
  ctx.save();
  drawZero(plot);
  drawPeaks(chart, panel, plot);
  drawOutside(panel, plot);
  if (hasEndLabels(chart, panel, plot.width)) drawEndLabels(chart, panel, plot);
  ctx.restore();
}

/* The measured value nearest to x, or null outside the series and in its gaps; of single readings, the last at x itself. */
export function valueAt(series, x, column = series.y) {
  if (series.points) return column[series.x.lastIndexOf(x)] ?? null;
  let best = -1;
  for (let at = 0; at < series.x.length; at++) if (best < 0 || Math.abs(series.x[at] - x) < Math.abs(series.x[best] - x)) best = at;
  if (best < 0) return null;
  const apart = series.x.length > 1 ? Math.abs(series.x.at(-1) - series.x[0]) / (series.x.length - 1) : 0;
  return Math.abs(series.x[best] - x) > apart * 1.5 ? null : column[best];
}

function meanAt(members, x) {
  const values = members.map((series) => valueAt(series, x)).filter((value) => value !== null);
  return values.length ? values.reduce((sum, value) => sum + value, 0) / values.length : null;
}

function differenceText(panel, series, x) {
  const value = valueAt(series, x), digits = panel.digits ?? 1;
  if (value === null) return "–";
  const half = series.high ? (valueAt(series, x, series.high) - valueAt(series, x, series.low)) / 2 : null;
  return formatNumber(value, digits, { signed: true }) + (half === null ? "" : ` ± ${formatNumber(half, digits)}`);
}

/* Panels that have a column of their own, and the rows under them: [words, style, cells]. */
function readingAt(chart, x) {
  const panels = chart.data.small ? [chart.data.panels[chart.leading]] : chart.shownPanels();
  const columns = panels.filter((panel) => panel.of === undefined);
  const labels = [...chart.styles.keys()].filter((label) => !chart.hidden.has(label) && columns.some((panel) => panel.series.some((series) => series.label === label && !series.fine)));
  const rows = new Map();
  const seriesOf = (panel, label) => panel.series.find((series) => series.label === label);
  for (const label of labels) {
    const series = columns.map((panel) => seriesOf(panel, label)).find(Boolean);
    const isMerged = labels.length > SINGLE_ROWS && series.group && chart.highlighted !== label;
    const key = isMerged ? series.group : label;
    rows.set(key, { words: key, labels: [...(rows.get(key)?.labels || []), label] });
  }
  const found = [...rows.values()].slice(0, MAX_ROWS).map(({ words, labels: members }) => ({
    words: members.length > 1 ? `${words}, mean of ${members.length}` : words, style: chart.styles.get(members[0]),
    cells: columns.map((panel) => (isDifference(panel) ? differenceText(panel, panel.series[0], x) : formatNumber(meanAt(members.map((label) => seriesOf(panel, label)).filter(Boolean), x), panel.digits ?? 1))),
  }));
  const differences = panels.filter((panel) => panel.of !== undefined && !chart.hidden.has(panel.series[0]?.label));
  if (differences.length) found.push({ words: "difference", style: null, cells: columns.map((panel) => { const of = differences.find((each) => chart.data.panels[each.of] === panel); return of ? differenceText(of, of.series[0], x) : ""; }) });
  return { columns, rows: found, more: rows.size - Math.min(rows.size, MAX_ROWS) };
}

export function readingBox(chart) {
  chart.caption = element("caption");
  chart.readingTable = element("table", {}, chart.caption);
  return element("div", { class: "chart-reading", role: "region", "aria-label": "Values at the cursor", hidden: "" }, chart.readingTable);
}

/* Fill the reading and put it beside the cursor, where the lines are not. */
export function showReading(chart, plot) {
  const x = chart.cursorX, { columns, rows, more } = readingAt(chart, x);
  chart.caption.textContent = `At ${formatNumber(x, chart.data.x_digits ?? 0)} ${chart.data.x_unit}`.trim();
  const heads = columns.map((panel) => element("th", { scope: "col" }, columns.length > 1 && columns.some((each) => each !== panel && each.y_unit === panel.y_unit) ? withUnit(panel.title, panel.y_unit) : panel.y_unit || panel.title));
  const body = rows.map(({ words, style, cells }) => element("tr", {}, element("th", { scope: "row" }, ...(style ? [swatch(style)] : []), words), ...cells.map((cell) => element("td", {}, cell))));
  if (more) body.push(element("tr", {}, element("th", { scope: "row" }, `and ${more} more in the table`)));
  chart.readingTable.replaceChildren(chart.caption, element("thead", {}, element("tr", {}, element("td"), ...heads)), element("tbody", {}, ...body));
  chart.readingRows = rows.map(({ words, cells }) => `${words} ${cells.map((cell, at) => cell && `${cell} ${columns[at].y_unit}`).filter(Boolean).join(", ")}`);
  const box = chart.reading;
  box.hidden = false;
  const over = plot.over.getBoundingClientRect(), frame = box.offsetParent.getBoundingClientRect();
  const left = over.left - frame.left + plot.valToPos(x, "x"), right = left + 14 + box.offsetWidth > over.right - frame.left;
  box.style.left = `${Math.max(0, right ? left - box.offsetWidth - 14 : left + 14)}px`;
  const values = drawn(chart, chart.data.panels[chart.plots.indexOf(plot)]).map((series) => valueAt(series, x)).filter((value) => value !== null);
  const middle = values.length ? plot.valToPos(values.reduce((sum, value) => sum + value, 0) / values.length, "y") : 0;
  const below = middle < plot.over.clientHeight / 2 ? plot.over.clientHeight - box.offsetHeight - 8 : 8;
  box.style.top = `${over.top - frame.top + Math.max(8, below)}px`;
}
