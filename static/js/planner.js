/* Dragging a slot to another day or workstation. By keyboard the slot's own link does the same.
   A cell has data-day and data-place, a slot data-move (the address that takes the move). */

function start(table, form) {
  let dragged = null;

  const cellOf = (event) => dragged && event.target.closest("td[data-day]");
  const mark = (cell) => table.querySelectorAll("td[data-day]").forEach((each) => each.classList.toggle("is-over", each === cell));

  table.addEventListener("dragstart", (event) => {
    dragged = event.target.closest("[data-move]");
    if (dragged) event.dataTransfer.setData("text/plain", dragged.textContent.trim());
  });
  table.addEventListener("dragover", (event) => {
    const cell = cellOf(event);
    mark(cell);
    if (cell) event.preventDefault();
  });
  table.addEventListener("dragend", () => { dragged = null; mark(null); });
  table.addEventListener("drop", (event) => {
    const cell = cellOf(event);
    if (!cell || dragged.closest("td") === cell) return;
    event.preventDefault();
    form.action = dragged.dataset.move;
    form.elements.day.value = cell.dataset.day;
    form.elements.place.value = cell.dataset.place;
    form.submit();
  });
}

const table = document.querySelector("[data-slots]");
const mover = document.getElementById("slot-mover");
if (table && mover) start(table, mover);
