/* The gauge of the bench: range and target of one valve, and a needle at its clearance or a bar between two blades. */

import { formatSteps } from "./verdicts.js";

const ROOM = 0.7; // of the range, at each side of it

function place(shape, from, to) {
  shape.setAttribute("x", `${from}%`);
  shape.setAttribute("width", `${to - from}%`);
}

export function showGauge(gauge, ends, { low, high, target, tolerance }, unit) {
  const hasRange = low !== null && high !== null;
  gauge.classList.toggle("gauge-none", !hasRange);
  if (!hasRange) return;
  const room = Math.max((high - low) * ROOM, 1), from = low - room, to = high + room;
  const at = (steps) => Math.round(Math.min(Math.max((steps - from) / (to - from), 0.01), 0.99) * 10000) / 100;
  const find = (name) => gauge.querySelector(`.gauge-${name}`);
  place(find("in"), at(low), at(high));
  find("target").toggleAttribute("hidden", target === null);
  if (target !== null) place(find("target"), at(Math.max(low, target - tolerance)), at(Math.min(high, target + tolerance)));
  const isShown = ends.length > 0 && !ends.some(Number.isNaN), middle = at((ends[0] + ends.at(-1)) / 2);
  for (const needle of gauge.querySelectorAll(".gauge-needle")) needle.toggleAttribute("hidden", !isShown);
  find("between").toggleAttribute("hidden", !isShown || ends.length < 2);
  if (isShown) {
    place(find("between"), at(ends[0]), at(ends.at(-1)));
    gauge.querySelector("line").setAttribute("x1", `${middle}%`);
    gauge.querySelector("line").setAttribute("x2", `${middle}%`);
    gauge.querySelector("svg").setAttribute("x", `${middle}%`);
  }
  for (const [name, steps] of [["low", low], ["aim", target], ["high", high]]) {
    const text = find(name), isFree = steps !== null && (name !== "aim" || Math.min(at(steps) - at(low), at(high) - at(steps)) > 11);
    text.textContent = isFree ? formatSteps(steps, unit).split(" ")[0] : "";
    if (isFree) text.setAttribute("x", `${at(steps)}%`);
  }
}
