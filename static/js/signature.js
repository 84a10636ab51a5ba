/* A signature: lines drawn in the svg with data-signature go into the field whose id it names, as JSON
   (lines of [x, y], 0 to 1000 across). Who can't draw signs on paper and ticks that. */
(() => {
  "use strict";
  const pad = document.querySelector("[data-signature]");
  const field = pad && document.getElementById(pad.dataset.signature);
  if (!field) return;
  const strokes = [];
  let line = null;

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
    line = document.createElementNS("http://www.w3.org/2000/svg", "polyline");
    pad.append(line);
    extend(event);
  });
  pad.addEventListener("pointermove", (event) => { if (line) extend(event); });
  const end = () => { line = null; field.value = JSON.stringify(strokes); };
  pad.addEventListener("pointerup", end);
  pad.addEventListener("pointercancel", end);
  document.querySelector("[data-signature-clear]")?.addEventListener("click", () => {
    strokes.length = 0;
    pad.replaceChildren();
    field.value = "";
  });
})();
