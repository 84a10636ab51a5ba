/* A list on the page that is the legend of a chart: data-list on the chart names it.

   In the list, <li data-line="LABEL"> stands for a line: its button .line-switch shows and hides the line, its element
   .line-swatch gets a drawing of it, and pointing at it makes the others faint. A button [data-lines] does so for all lines of its
   group (the nearest [data-line-group]), [data-tick] ticks the boxes of the group. An input .line-filter narrows list and chart to the rows that contain what is typed. */

import { swatch } from "./chart_parts.js";

const rowsOf = (scope) => [...scope.querySelectorAll("[data-line]")];

function show(chart, row, isShown) {
  const label = row.dataset.line, button = row.querySelector(".line-switch");
  if (!chart.styles.has(label)) return;
  for (const other of chart.styles.keys()) if (other === label || other === `${label}, samples`) chart.hidden[isShown ? "delete" : "add"](other);
  button?.setAttribute("aria-pressed", String(isShown));
}

function filter(chart, list, words) {
  const wanted = words.trim().toLowerCase().split(/\s+/).filter(Boolean);
  for (const row of rowsOf(list)) {
    const text = row.textContent.toLowerCase(), fits = wanted.every((word) => text.includes(word));
    row.hidden = !fits;
    show(chart, row, fits && row.querySelector(".line-switch")?.dataset.off === undefined);
  }
  for (const group of list.querySelectorAll("[data-line-group]")) group.hidden = rowsOf(group).every((row) => row.hidden);
  chart.redraw();
}

export function connectList(chart, list) {
  for (const row of rowsOf(list)) {
    const label = row.dataset.line, button = row.querySelector(".line-switch"), place = row.querySelector(".line-swatch");
    if (!chart.styles.has(label)) { if (button) button.hidden = true; continue; }
    place?.replaceChildren(swatch(chart.styles.get(label)));
    if (button) {
      button.hidden = false;
      button.setAttribute("aria-pressed", String(!chart.hidden.has(label)));
      button.addEventListener("click", () => {
        const isShown = chart.hidden.has(label);
        if (isShown) delete button.dataset.off; else button.dataset.off = "";
        show(chart, row, isShown);
        chart.redraw();
      });
    }
    for (const event of ["pointerenter", "focusin"]) row.addEventListener(event, () => { if (!chart.hidden.has(label)) chart.setHighlight(label); });
    for (const event of ["pointerleave", "focusout"]) row.addEventListener(event, () => chart.setHighlight(null));
  }
  for (const button of list.querySelectorAll("[data-lines]")) {
    button.hidden = false;
    button.addEventListener("click", () => {
      const rows = rowsOf(button.closest("[data-line-group]")).filter((row) => !row.hidden && chart.styles.has(row.dataset.line));
      const isShown = rows.every((row) => chart.hidden.has(row.dataset.line));
      for (const row of rows) {
        const one = row.querySelector(".line-switch");
        if (isShown) delete one.dataset.off; else one.dataset.off = "";
        show(chart, row, isShown);
      }
      chart.redraw();
    });
  }
  for (const button of list.querySelectorAll("[data-tick]")) {
    button.hidden = false;
    button.addEventListener("click", () => {
      const boxes = rowsOf(button.closest("[data-line-group]")).filter((row) => !row.hidden).map((row) => row.querySelector("input[type=checkbox]"));
      const isTicked = boxes.every((box) => box.checked);
      for (const box of boxes) box.checked = !isTicked;
    });
  }
  const input = list.querySelector(".line-filter");
  if (!input) return;
  input.parentElement.hidden = false;
  input.addEventListener("input", () => filter(chart, list, input.value));
  input.addEventListener("keydown", (event) => { if (event.key === "Enter") event.preventDefault(); }); // it would send the form
}
