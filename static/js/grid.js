/* Keyboard for a <table role="grid"> (WAI-ARIA grid pattern).

   Arrow keys move by one cell, Home and End to the ends of the row, with Ctrl to the first and last cell. Only the focused
   cell is in the tab order, so that Tab leaves the grid. A cell's data-about is shown in the element named by the grid's
   data-about-in. */

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

function start(scope) {
  for (const grid of scope.querySelectorAll("table[role=grid]")) {
    cellsOf(grid).flat().forEach((cell, at) => { cell.tabIndex = at === 0 ? 0 : -1; });
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
  if (!cell) return;
  const grid = cell.closest("table");
  for (const other of grid.querySelectorAll("td[tabindex='0']")) other.tabIndex = -1;
  cell.tabIndex = 0;
  const about = document.getElementById(grid.dataset.aboutIn);
  if (about) about.textContent = cell.dataset.about || "";
});

document.addEventListener("click", (event) => event.target.closest?.("table[role=grid] td")?.focus());
document.addEventListener("htmx:load", (event) => start(event.target.parentElement || document));
start(document);
