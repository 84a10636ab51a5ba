/* Folds away the groups of an engine's form that the chosen adjuster has no use for. A group in which something
   stands stays open, so that nothing typed or stored is ever out of sight. */

const adjuster = document.getElementById("id_adjuster");

function fold() {
  for (const group of document.querySelectorAll("fieldset[data-for]")) {
    const wanted = !adjuster.value || group.dataset.for.split(" ").includes(adjuster.value);
    const filled = [...group.querySelectorAll("input")].some((input) => input.value.trim());
    group.hidden = !wanted && !filled && !group.querySelector(".is-invalid");
  }
}

adjuster.addEventListener("change", fold);
fold();
