/* The job page: sections that were open stay open, a link to a section opens it, and the stages take arrow keys. */

const sections = document.querySelector(".job-sections");
const folds = [...sections.querySelectorAll("details.fold")];
const storageKey = `open-sections-${sections.dataset.job}`;

function remembered() {
  try { return JSON.parse(localStorage.getItem(storageKey)) || []; } catch { return []; }
}

function remember() {
  try { localStorage.setItem(storageKey, JSON.stringify(folds.filter((fold) => fold.open).map((fold) => fold.id))); } catch { /* private window */ }
}

function openFromAddress() {
  const name = location.hash.slice(1);
  const fold = folds.find((each) => each.id === name);
  if (fold) { fold.open = true; fold.scrollIntoView(); }
  if (name === "stage") focusStage();
}

/* After htmx has found the bodies that it fetches. */
function start() {
  for (const name of remembered()) {
    const fold = folds.find((each) => each.id === name);
    if (fold) fold.open = true;
  }
  openFromAddress();
  for (const fold of folds) {
    // One that was opened before htmx listened would stay empty.
    if (fold.open) fold.dispatchEvent(new Event("toggle"));
    fold.addEventListener("toggle", remember);
  }
}

const steps = () => [...document.querySelectorAll("#stage [data-step]")];
const currentStep = () => document.querySelector("#stage [aria-current] [data-step]") || steps()[0];

/* One stop of the Tab key for all stages; the arrow keys go from one to the next. */
function rove(to) {
  for (const step of steps()) step.tabIndex = step === to ? 0 : -1;
}

function focusStage() {
  const step = currentStep();
  if (step) { rove(step); step.focus(); }
}

const DIRECTIONS = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 };

document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey) return;
  const step = event.target.closest?.("#stage [data-step]");
  if (step && event.key in DIRECTIONS) {
    const all = steps();
    const next = all[all.indexOf(step) + DIRECTIONS[event.key]];
    if (next) { rove(next); next.focus(); }
    event.preventDefault();
  }
});

document.addEventListener("shortcut", (event) => {
  if (event.detail !== "s") return;
  focusStage();
  event.preventDefault();
});

document.addEventListener("htmx:afterSwap", (event) => { if (event.target.id === "job-head") rove(currentStep()); });
window.addEventListener("hashchange", openFromAddress);
rove(currentStep());
/* On a phone the present stage may be beyond the edge. */
const stepper = document.querySelector("#stage .stepper");
const present = stepper?.querySelector("[aria-current]");
if (present) stepper.scrollLeft = present.offsetLeft + present.offsetWidth - stepper.clientWidth;
if (document.readyState === "loading") document.addEventListener("DOMContentLoaded", start);
else start();
