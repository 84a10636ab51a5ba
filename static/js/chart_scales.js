/* The ranges of the axes. A range covers what was measured, with three limits:
   a few wild values far from all others do not stretch it, "usual": [low, high] of a panel keeps values beyond out of it if
   that leaves some (lambda on the overrun), and it is never so narrow that scatter looks like mountains. */

const FEW = 20; // of so few values each one counts
const TAIL = 0.02, WIDEST_GAP = 0.5;
const SHARE_OF_LEVEL = 0.1, MARGIN = 0.06;

/* Lowest and highest of the values without a few that lie far beyond all others. */
function extent(values) {
  const sorted = values.filter(Number.isFinite).toSorted((a, b) => a - b);
  let low = 0, high = sorted.length - 1;
  if (sorted.length > FEW) {
    const tail = Math.max(1, Math.floor(sorted.length * TAIL));
    const core = sorted[high - tail] - sorted[tail];
    for (let at = tail; at > 0; at--) if (sorted[at] - sorted[at - 1] > WIDEST_GAP * core) { low = at; break; }
    for (let at = high - tail; at < high; at++) if (sorted[at + 1] - sorted[at] > WIDEST_GAP * core) { high = at; break; }
    if (core === 0) { low = 0; high = sorted.length - 1; }
  }
  return sorted.length ? [sorted[low], sorted[high]] : [0, 1];
}

/* The engine speeds, times and so on that were measured in any panel. */
export function rangeOfX(data) {
  if (data.x_range) return data.x_range;
  return extent(data.panels.flatMap((panel) => panel.series.flatMap((series) => series.x.filter((_, at) => series.y[at] !== null))));
}

function valuesWithin(chart, panel, [from, to]) {
  const found = [], edges = [];
  for (const series of panel.series) {
    if (chart.hidden.has(series.label)) continue;
    series.x.forEach((x, at) => {
      if (x < from || x > to || series.y[at] === null) return;
      found.push(series.y[at]);
      if (series.low && series.low[at] !== null) edges.push(series.low[at], series.high[at]);
      if (series.bars) edges.push(...series.bars[at]);
    });
  }
  return [found, edges];
}

export const isDifference = (panel) => panel.kind === "difference";

/* Range of y for what is shown; notes in the panel how many values lie outside. */
export function rangeOfY(chart, panel, rangeX) {
  const [values, edges] = valuesWithin(chart, panel, rangeX);
  let [low, high] = extent(values);
  const [least, most] = panel.usual || [-Infinity, Infinity];
  if (values.some((value) => value >= least && value <= most)) { low = Math.max(low, least); high = Math.min(high, most); }
  const inside = edges.filter((edge) => edge >= low - (high - low) && edge <= high + (high - low));
  low = Math.min(low, ...inside);
  high = Math.max(high, ...inside);
  if (isDifference(panel)) { low = Math.min(low, 0); high = Math.max(high, 0); }
  const isPositive = low >= 0;
  const narrowest = Math.max(panel.min_span || 0, isDifference(panel) ? 0 : SHARE_OF_LEVEL * Math.max(Math.abs(low), Math.abs(high)), 1e-6);
  if (high - low < narrowest) { const middle = (low + high) / 2; low = middle - narrowest / 2; high = middle + narrowest / 2; }
  const margin = MARGIN * (high - low);
  low -= margin;
  high += margin;
  if (isPositive && !isDifference(panel)) low = chart.fromZero ? 0 : Math.max(low, 0);
  panel.outside = values.filter((value) => value < low || value > high).length;
  return [low, high];
}
