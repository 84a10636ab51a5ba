/* Changes of a tune: what the chosen kind means, beside the choice; one more row; a row taken off.

   <select data-kind> in a .change-row, its options with data-unit, data-effect and data-caution, writes these into the
   row's .change-about and, where the unit box is empty or still holds the last kind's unit, into it.
   <button data-add-change> copies <template data-change-row>. Rows are named and never counted: n0, n1, ... */

function tell(row, option) {
  for (const what of ["effect", "caution"]) {
    const place = row.querySelector(`.change-about [data-${what}]`);
    if (!place) continue;
    place.textContent = option?.dataset[what] || "";
    place.parentElement.hidden = !place.textContent;
  }
}

function offerUnit(row, select, option) {
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
    tell(row, option);
    offerUnit(row, event.target, option);
  }
  if (event.target.matches("input[name$='-remove']")) row.classList.toggle("is-removed", event.target.checked);
});

// A draft put back sets the fields by script and tells of it by "input".
document.addEventListener("input", (event) => {
  if (event.isTrusted || !event.target.matches?.("select[data-kind]")) return;
  tell(event.target.closest(".change-row"), event.target.selectedOptions[0]);
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
