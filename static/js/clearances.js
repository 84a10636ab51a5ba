/* Entry of clearances at the bench: moves to the next box by itself, judges each box as it is typed, opens offline.

   <input data-order-cylinder="1" data-order-side="5" ...>   position of the box in each entry order; Enter moves on,
                                  Shift+Enter back
   <select data-bench-order>      the entry order; this browser remembers it
   <select name="blades">         the unit of a number typed without one (mm, in); this browser remembers it
   <select name="closing_as">     "loaded_gap": a closing box holds the opener's gap with the play taken up
   .engine-reading                one clearance:
     data-place, data-opener        its name; the name of the opening clearance of the same valve
     data-low, data-high            the range of the engine spec, in mm
     data-target, data-tolerance    the target and how near counts as on target, in mm
     .verdict                       shows the word and the shape
     data-bracket="stops"           a second input: the smallest blade that does not go
   [data-bench-count]             "7 of 12 entered, 2 out of range, passed over: cylinder 2, intake left"
   .engine                        gets the width of its narrowest valve as --valve-width, which sizes its text
   <meta name="bench-worker">     the service worker that opens this page while offline

   A clearance is one value (0.12), or the largest blade that goes and the smallest that does not: in one box
   (0.10-0.12) or in two.

   Only a preview: the server reads and judges what is sent. */

import { MM_PER, WORDS, closingFromGaps, judge, readClearance, readLimits } from "./verdicts.js";

const BOXES = "input[data-order-cylinder]";
const COMPLETE = { mm: /^\d*[.,]\d{2}$/, in: /^\d*[.,]\d{4}$/ };
const MAX_NAMED = 3;
const EXAMPLES = { mm: "0.10-0.12", in: "0.004-0.005" };

const recall = (name) => { try { return localStorage.getItem(`bench-${name}`); } catch { return null; } };
const remember = (name, value) => { try { localStorage.setItem(`bench-${name}`, value); } catch { /* the choice lasts for this page only */ } };

function unitOf(form) {
  return form?.elements.blades?.value || "mm";
}

/* The values typed for one clearance. The second box counts only together with the first, as on the server. */
function readInputs(reading) {
  const [first, ...others] = [...reading.querySelectorAll(BOXES)].map((input) => readClearance(input.value, unitOf(input.form)));
  return first.length ? [first, ...others].flat() : [];
}

function verdictOf(reading) {
  const ends = readInputs(reading);
  const takesLoadedGaps = reading.closest("form").elements.closing_as?.value === "loaded_gap";
  if (!reading.dataset.opener || !takesLoadedGaps) return judge(ends, readLimits(reading.dataset));
  const opener = document.querySelector(`[data-place="${reading.dataset.opener}"]`);
  return judge(closingFromGaps(opener ? readInputs(opener) : [], ends), readLimits(reading.dataset));
}

function showVerdict(input) {
  const reading = input.closest(".engine-reading");
  const place = reading?.querySelector(".verdict");
  if (!place) return;
  const found = verdictOf(reading);
  reading.dataset.judged = found;
  if (place.dataset.verdict === found) return;
  place.dataset.verdict = found;
  place.setAttribute("aria-live", "polite");
  const shape = found === "unreadable" ? "cannot-tell" : found;
  place.className = found ? `verdict verdict-${shape}` : "verdict";
  place.textContent = WORDS[found] || "";
}

function inputsInOrder(form) {
  const position = `data-order-${form.querySelector("[data-bench-order]")?.value || "cylinder"}`;
  return [...form.querySelectorAll(BOXES)].filter((input) => !input.disabled && input.offsetParent !== null)
    .toSorted((a, b) => Number(a.getAttribute(position)) - Number(b.getAttribute(position)));
}

function moveFocus(input, step) {
  const all = inputsInOrder(input.form);
  const next = all[all.indexOf(input) + step];
  if (next) { next.focus(); next.select(); next.cameFrom = step > 0 ? input : null; }
  else if (step > 0) input.form.querySelector("[type=submit]")?.focus();
}

function isComplete(input) {
  return input.closest(".engine-reading") !== null && COMPLETE[unitOf(input.form)].test(input.value.trim());
}

const isEntered = (reading) => reading.querySelector("input").value.trim() !== "";

/* The empty ones before the last that is entered, in entry order: a value typed one valve too far shows at once. */
function skippedReadings(form) {
  const readings = [...new Set(inputsInOrder(form).map((input) => input.closest(".engine-reading")).filter(Boolean))];
  return readings.slice(0, readings.findLastIndex(isEntered) + 1).filter((reading) => !isEntered(reading));
}

function listNames(readings) {
  const names = readings.slice(0, MAX_NAMED).map((reading) => reading.querySelector("label .visually-hidden").textContent);
  return `${names.join("; ")}${readings.length > MAX_NAMED ? ` and ${readings.length - MAX_NAMED} more` : ""}`;
}

function showProgress(form) {
  const place = form.querySelector("[data-bench-count]");
  if (!place) return;
  const readings = [...form.querySelectorAll(".engine-reading")];
  const out = form.querySelectorAll(".verdict-tight, .verdict-loose").length;
  const passed = skippedReadings(form);
  place.textContent = `${readings.filter(isEntered).length} of ${readings.length} entered`
    + (out ? `, ${out} out of range` : "") + (passed.length ? `, passed over: ${listNames(passed)}` : "");
}

document.addEventListener("focusin", (event) => {
  if (event.target.matches?.(BOXES)) event.target.wasEmpty = event.target.value.trim() === "";
});

document.addEventListener("input", (event) => {
  const input = event.target;
  if (!input.matches?.(BOXES)) return;
  showVerdict(input);
  const closer = document.querySelector(`[data-opener="${input.closest(".engine-reading")?.dataset.place}"] ${BOXES}`);
  if (closer) showVerdict(closer);
  showProgress(input.form);
  // Only from a box that was empty when it got the focus: a correction must not lose it.
  if (event.isTrusted && input.wasEmpty && event.inputType !== "deleteContentBackward" && isComplete(input)) moveFocus(input, 1);
});

/* A dash typed after the focus moved on belongs to the box before: 0.10-0.12 is one reading. */
document.addEventListener("beforeinput", (event) => {
  const input = event.target;
  const before = input.matches?.(BOXES) && input.value === "" ? input.cameFrom : null;
  if (!before || !/^[-–/]$/.test(event.data || "") || !before.closest(".engine-reading")) return;
  event.preventDefault();
  before.focus();
  before.value += event.data;
  before.setSelectionRange(before.value.length, before.value.length);
  before.dispatchEvent(new Event("input", { bubbles: true }));
});

document.addEventListener("keydown", (event) => {
  if (event.key !== "Enter" || !event.target.matches?.(BOXES)) return;
  event.preventDefault();
  moveFocus(event.target, event.shiftKey ? -1 : 1);
});

function judgeAll(form) {
  for (const input of form.querySelectorAll(BOXES)) showVerdict(input);
  showProgress(form);
}

/* Values typed before the unit was changed keep theirs: 0.12 becomes "0.12 mm". */
function keepUnitOfTyped(form, before) {
  for (const reading of form.querySelectorAll(".engine-reading")) {
    for (const input of reading.querySelectorAll(BOXES)) {
      if (/\d\s*$/.test(input.value)) {
        input.value = `${input.value.trim()} ${before}`;
        input.dispatchEvent(new Event("input", { bubbles: true }));
      }
    }
  }
}

function showUnit(form) {
  form.dataset.blades = unitOf(form);
  const example = form.querySelector("[data-bench-example]");
  if (example) example.textContent = EXAMPLES[unitOf(form)];
}

document.addEventListener("change", (event) => {
  const field = event.target;
  if (field.matches?.("[data-bench-order]")) { remember("order", field.value); showProgress(field.form); }
  if (field.name !== "blades" && field.name !== "closing_as") return;
  if (field.name === "blades") {
    keepUnitOfTyped(field.form, field.form.dataset.blades);
    remember("blades", field.value);
    showUnit(field.form);
  }
  judgeAll(field.form);
});
/* A restored draft sets the unit it was typed in. */
document.addEventListener("input", (event) => {
  if (event.isTrusted || (event.target.name !== "blades" && event.target.name !== "closing_as")) return;
  setTimeout(() => { showUnit(event.target.form); judgeAll(event.target.form); }, 0);
});

function restoreChoices(form) {
  const order = form.querySelector("[data-bench-order]");
  form.querySelector("[data-bench-moves]").hidden = order.options.length < 2;
  if ([...order.options].some((option) => option.value === recall("order"))) order.value = recall("order");
  const empty = [...form.querySelectorAll(BOXES)].every((input) => !input.closest(".engine-reading") || input.value === "");
  if (empty && Object.hasOwn(MM_PER, recall("blades"))) form.elements.blades.value = recall("blades");
  showUnit(form);
}

const valveSizes = new ResizeObserver((entries) => {
  for (const { target } of entries) {
    const widths = [...target.querySelectorAll(".engine-valve")].map((valve) => valve.clientWidth);
    if (widths.length) target.style.setProperty("--valve-width", `${Math.min(...widths)}px`);
  }
});

function start(root) {
  for (const form of root.querySelectorAll("form")) {
    if (!form.querySelector("[data-bench-order]")) continue;
    restoreChoices(form);
    valveSizes.observe(form.querySelector(".engine"));
    for (const input of form.querySelectorAll(BOXES)) if (input.value) showVerdict(input);
    showProgress(form);
    const focused = document.activeElement; // may have got the focus before this script ran
    if (focused.form === form && focused.matches(BOXES)) focused.wasEmpty ??= focused.defaultValue.trim() === "";
  }
}
document.addEventListener("htmx:load", (event) => start(event.target));
start(document);

/* Store this page and its parts, so that it opens offline. Browsers allow that over https and on localhost only. */
const worker = document.querySelector("meta[name=bench-worker]")?.content;
if (worker && navigator.serviceWorker) {
  navigator.serviceWorker.register(worker).then(() => navigator.serviceWorker.ready).then((ready) => {
    const parts = performance.getEntriesByType("resource").map((entry) => entry.name);
    ready.active.postMessage({ page: location.origin + location.pathname, parts });
  }).catch(() => { /* drafts are still stored; only the page does not open offline */ });
}
