/* Hide the fieldsets of an engine's form that do not apply to the chosen adjuster. One with a value or an error stays
   visible, so that nothing typed or stored is ever hidden. */

const adjuster = document.getElementById("id_adjuster");

function hideUnused() {
  for (const group of document.querySelectorAll("fieldset[data-for]")) {
    const applies = !adjuster.value || group.dataset.for.split(" ").includes(adjuster.value);
    const hasValue = [...group.querySelectorAll("input")].some((input) => input.value.trim());
    group.hidden = !applies && !hasValue && !group.querySelector(".is-invalid");
  }
}

adjuster.addEventListener("change", hideUnused);
hideUnused();
