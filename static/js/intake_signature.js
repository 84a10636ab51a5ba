/* A signature: lines drawn in the svg with data-signature go into the field whose id it names, as JSON
   (lines of [x, y], 0 to 1000 across). Who cannot draw signs on paper and ticks that. */

import { svgElement } from "./elements.js";

function start(pad, field) {
  let strokes = [];
  let line = null;

  const draw = (points) => {
    const drawn = svgElement("polyline", { points: points.join(" ") });
    pad.append(drawn);
    return drawn;
  };
  // The page shown again after an error still has what was signed.
  try { strokes = JSON.parse(field.value || "[]") || []; strokes.forEach(draw); } catch { strokes = []; }

  const point = (event) => {
    const box = pad.getBoundingClientRect();
    return [
      Math.round(Math.min(1000, Math.max(0, (1000 * (event.clientX - box.left)) / box.width))),
      Math.round(Math.min(300, Math.max(0, (300 * (event.clientY - box.top)) / box.height))),
    ];
  };
  const extend = (event) => {
    strokes.at(-1).push(point(event));
    line.setAttribute("points", strokes.at(-1).join(" "));
  };
  pad.addEventListener("pointerdown", (event) => {
    event.preventDefault();
    pad.setPointerCapture(event.pointerId);
    strokes.push([]);
    line = draw([]);
    extend(event);
  });
  pad.addEventListener("pointermove", (event) => { if (line) extend(event); });
  const end = () => { line = null; field.value = JSON.stringify(strokes); };
  pad.addEventListener("pointerup", end);
  pad.addEventListener("pointercancel", end);
  document.querySelector("[data-signature-clear]")?.addEventListener("click", () => {
    strokes = [];
    pad.replaceChildren();
    field.value = "";
  });
}

const pad = document.querySelector("[data-signature]");
const field = pad && document.getElementById(pad.dataset.signature);
if (field) start(pad, field);
