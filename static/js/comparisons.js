/* The form of a comparison: one button gives all runs of a state of the bike the same side, and the runs of both sides
   are counted beside the Save button. */

const form = document.querySelector("form:has([data-side-count])");
const count = form.querySelector("[data-side-count]");

function countSides() {
  const runs = (side) => form.querySelectorAll(`input[type=radio][value="${side}"]:checked`).length;
  count.textContent = `${runs("before")} before, ${runs("after")} after`;
}

for (const buttons of form.querySelectorAll("[data-sides-of-all]")) {
  buttons.hidden = false;
  buttons.addEventListener("click", ({ target }) => {
    const button = target.closest("button");
    if (!button) return;
    const runs = buttons.closest(".side-state");
    for (const radio of runs.querySelectorAll("input[type=radio]")) if (radio.value === button.value) radio.checked = true;
    form.dispatchEvent(new Event("input", { bubbles: true }));
  });
}
form.addEventListener("input", countSides);
countSides();
