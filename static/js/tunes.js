/* Rows of tune changes: add and remove them, and describe the chosen change type.

   <select data-kind> in a .change-row has options with data-unit, data-effect and data-caution. Effect and caution are shown
   in the row's .change-about; the unit is filled in if its box is empty or still holds the unit of the last type.
   <button data-add-change> copies <template data-change-row>. New rows are called n0, n1, ...; the server reads the names. */

function describeType(row, option) {
  for (const what of ["effect", "caution"]) {
    const place = row.querySelector(`.change-about [data-${what}]`);
    if (!place) continue;
    place.textContent = option?.dataset[what] || "";
    place.parentElement.hidden = !place.textContent;
  }
}

function fillInUnit(row, select, option) {
  const box = row.querySelector("input[name$='unit']");
  if (!box) return;
  const unit = option?.dataset.unit || "";
  if (!box.value || box.value === select.dataset.unitGiven) box.value = unit;
  select.dataset.unitGiven = unit;
}

document.addEventListener("change", (event) => {
  const row = event.target.closest?.(".change-row");
  if (!row) return;
  if (event.target.matches("select[data-kind]")) {
    const option = event.target.selectedOptions[0];
    describeType(row, option);
    fillInUnit(row, event.target, option);
  }
  if (event.target.matches("input[name$='-remove']")) row.classList.toggle("is-removed", event.target.checked);
});

// A restored draft sets the fields by script and dispatches "input".
document.addEventListener("input", (event) => {
  if (event.isTrusted || !event.target.matches?.("select[data-kind]")) return;
  describeType(event.target.closest(".change-row"), event.target.selectedOptions[0]);
});

const add = document.querySelector("[data-add-change]");
const template = document.querySelector("template[data-change-row]");
if (add && template) {
  add.hidden = false;
  add.addEventListener("click", () => {
    const rows = document.querySelector(".change-rows");
    let place = rows.children.length;
    while (document.getElementById(`row-change-n${place}`)) place++;
    const holder = document.createElement("div");
    holder.innerHTML = template.innerHTML.replaceAll("n__row__", `n${place}`);
    const row = holder.firstElementChild;
    rows.append(row);
    row.querySelector("select").focus();
  });
}
for (const box of document.querySelectorAll(".change-row input[name$='-remove']:checked")) box.closest(".change-row").classList.add("is-removed");
