/* Shades the first part of the x axis of a chart: <div data-chart data-shade-to="20">. */

import { colour } from "./chart_parts.js";

document.addEventListener("chartdraw", (event) => {
  const to = Number(event.target.dataset.shadeTo), plot = event.detail;
  if (!to) return;
  const { ctx, bbox } = plot, left = Math.max(plot.valToPos(0, "x", true), bbox.left), right = Math.min(plot.valToPos(to, "x", true), bbox.left + bbox.width);
  if (right <= left) return;
  ctx.save();
  ctx.globalCompositeOperation = "destination-over";
  ctx.fillStyle = colour("--accent-wash");
  ctx.fillRect(left, bbox.top, right - left, bbox.height);
  ctx.restore();
});
