/* Keyboard and inspector of a <table role="grid"> (WAI-ARIA grid pattern).

   Arrow keys move by one cell, Home and End to the ends of the row, with Ctrl to the first and last cell. Only the chosen
   cell is in the tab order, so that Tab leaves the grid. data-inspector of the grid names the element that describes the
   chosen cell; its data-cells names a json_script block of cells by their data-place:

   {"5,3": {"place": "6000 rpm, 80 % grip", "off": "+7.8 %", "word": "lean", "off_pct": 7.8 or null,
            "facts": [["Lambda", "0.960 ± 0.003 (95 %)"], ...], "visits": ["run 9, 3.1 to 4.9 s: 37 samples", ...]}}

   and data-first the cell that it describes at first. */

import { element, svgElement } from "./elements.js";

const GAUGE_PCT = 10, MIDDLE = 150, HALF = 140;

function cellsOf(grid) {
  return [...grid.querySelectorAll("tbody tr")].map((row) => [...row.querySelectorAll("td")]);
}

function positionOf(rows, cell) {
  const row = rows.findIndex((cells) => cells.includes(cell));
  return [row, row < 0 ? -1 : rows[row].indexOf(cell)];
}

function target(rows, row, column, event) {
  const last = rows[row].length - 1;
  const moves = {
    ArrowUp: [row - 1, column], ArrowDown: [row + 1, column], ArrowLeft: [row, column - 1], ArrowRight: [row, column + 1],
    Home: event.ctrlKey ? [0, 0] : [row, 0], End: event.ctrlKey ? [rows.length - 1, rows.at(-1).length - 1] : [row, last],
  };
  const [toRow, toColumn] = moves[event.key] || [];
  return rows[toRow]?.[toColumn];
}

/* The deviation on a scale from 10 % rich to 10 % lean, the target in the middle. */
function gauge(offPct) {
  const at = MIDDLE + (HALF * Math.max(-GAUGE_PCT, Math.min(GAUGE_PCT, offPct))) / GAUGE_PCT;
  const piece = (from, to, name) => svgElement("rect", { x: MIDDLE + from * 14, y: 22, width: (to - from) * 14, height: 16, class: name });
  const words = (x, anchor, text) => svgElement("text", { x, y: 56, "text-anchor": anchor }, text);
  return svgElement("svg", { viewBox: "0 0 300 60", class: "inspect-gauge", "aria-hidden": "true" },
    piece(-10, -6, "rich-3"), piece(-6, -1, "rich-1"), piece(-1, 1, "even"), piece(1, 6, "lean-1"), piece(6, 10, "lean-3"),
    svgElement("line", { x1: MIDDLE, x2: MIDDLE, y1: 16, y2: 42, class: "goal" }),
    svgElement("path", { d: `M${at} 22l-8-13h16z`, class: "needle" }),
    words(10, "start", "10 % rich"), words(MIDDLE, "middle", "target"), words(290, "end", "10 % lean"));
}

function describe(inspector, cell) {
  const facts = element("dl", { class: "facts" }, ...cell.facts.flatMap(([name, value]) => [element("dt", {}, name), element("dd", {}, value)]));
  const parts = [element("h3", {}, cell.place), element("p", { class: "inspect-off" }, cell.off_pct === null ? cell.word : `${cell.off} ${cell.word}`)];
  if (cell.off_pct !== null) parts.push(gauge(cell.off_pct));
  parts.push(facts);
  if (cell.visits.length) parts.push(element("ul", { class: "inspect-visits", "aria-label": "Holds", tabindex: "0" }, ...cell.visits.map((visit) => element("li", {}, visit))));
  inspector.replaceChildren(...parts);
}

function choose(cell) {
  const grid = cell.closest("table");
  for (const other of grid.querySelectorAll("td[tabindex='0']")) { other.tabIndex = -1; other.removeAttribute("aria-selected"); }
  cell.tabIndex = 0;
  cell.setAttribute("aria-selected", "true");
  const inspector = document.getElementById(grid.dataset.inspector);
  if (!inspector) return;
  inspector.cells ??= JSON.parse(document.getElementById(inspector.dataset.cells).textContent);
  describe(inspector, inspector.cells[cell.dataset.place]);
  inspector.hidden = false;
}

function start(scope) {
  for (const grid of scope.querySelectorAll("table[role=grid]")) {
    const cells = cellsOf(grid).flat(), first = document.getElementById(grid.dataset.inspector)?.dataset.first;
    for (const cell of cells) cell.tabIndex = -1;
    choose(cells.find((cell) => cell.dataset.place === first) || cells[0]);
  }
}

document.addEventListener("keydown", (event) => {
  const cell = event.target.closest?.("table[role=grid] td");
  if (!cell || event.target !== cell) return;
  const rows = cellsOf(cell.closest("table"));
  const next = target(rows, ...positionOf(rows, cell), event);
  if (!next) return;
  event.preventDefault();
  next.focus();
});

document.addEventListener("focusin", (event) => {
  const cell = event.target.closest?.("table[role=grid] td");
  if (cell) choose(cell);
});
document.addEventListener("click", (event) => event.target.closest?.("table[role=grid] td")?.focus());
start(document);
