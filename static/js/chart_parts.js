/* What the scripts of a chart share: the colours of the page, labels with their unit, the figures of an axis. */

import { formatNumber } from "./numbers.js";

export const colour = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();
export const withUnit = (label, unit) => (unit ? `${label} (${unit})` : label);

/* As many decimals as tell the ticks apart: 0.025 needs three. */
export function tickLabels(ticks, step) {
  let digits = 0;
  while (digits < 6 && Math.abs(step * 10 ** digits - Math.round(step * 10 ** digits)) > 1e-6) digits++;
  return ticks.map((tick) => formatNumber(tick, digits));
}
