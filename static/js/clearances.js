/* Clearances typed at the bench: moves on by itself, judges each box as it is typed, opens without a network.

   <input data-order-cylinder="1" data-order-side="5" ...>   when the box's turn comes, in each order of going round;
                                  Enter goes on, Shift+Enter back
   <select data-bench-order>      the order chosen; kept in this browser
   <select name="blades">         the unit of a figure that has none behind it (mm, in); kept in this browser
   <select name="closing_as">     "loaded_gap": a closing box holds the opener's gap with the play taken up
   .engine-reading                around one clearance, in which it is judged:
     data-place, data-opener        its name; that of the opening clearance of the same valve
     data-low, data-high            the maker's range, in mm
     data-target, data-tolerance    the blueprint target and how near counts as on it, in mm
     .verdict                       takes the word and the shape
     data-bracket="stops"           a second input: the smallest blade that does not go
   [data-bench-count]             "7 of 12 entered, 2 out of range, passed over: cylinder 2, intake left"
   .engine                        gets the width of its narrowest valve, --valve-width, for the size of its figures
   <meta name="bench-worker">     the worker that opens this page again while the network is gone

   A clearance is one figure (0.12), or the largest blade that goes and the smallest that does not: in one box
   (0.10-0.12) or in two.

   Only a preview: the server reads and judges what is sent. */

import { MM_PER, WORDS, closingFromGaps, judge, readClearance, readLimits } from "./verdicts.js";

const BOXES = "input[data-order-cylinder]";
const COMPLETE = { mm: /^\d*[.,]\d{2}$/, in: /^\d*[.,]\d{4}$/ };
const MOST_NAMED = 3;
const EXAMPLES = { mm: "0.10-0.12", in: "0.004-0.005" };

const kept = (name) => { try { return localStorage.getItem(`bench-${name}`); } catch { return null; } };
const keep = (name, value) => { try { localStorage.setItem(`bench-${name}`, value); } catch { /* chosen for this page only */ } };

function unitOf(form) {
  return form?.elements.blades?.value || "mm";
}

/* What is typed for one clearance. The second box counts only beside the first, as on the server. */
function typed(reading) {
  const [first, ...others] = [...reading.querySelectorAll(BOXES)].map((input) => readClearance(input.value, unitOf(input.form)));
  return first.length ? [first, ...others].flat() : [];
}

function verdictOf(reading) {
  const ends = typed(reading);
  const takesLoadedGaps = reading.closest("form").elements.closing_as?.value === "loaded_gap";
  if (!reading.dataset.opener || !takesLoadedGaps) return judge(ends, readLimits(reading.dataset));
  const opener = document.querySelector(`[data-place="${reading.dataset.opener}"]`);
  return judge(closingFromGaps(opener ? typed(opener) : [], ends), readLimits(reading.dataset));
}

function show(input) {
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

function inOrder(form) {
  const turn = `data-order-${form.querySelector("[data-bench-order]")?.value || "cylinder"}`;
  return [...form.querySelectorAll(BOXES)].filter((input) => !input.disabled && input.offsetParent !== null)
    .toSorted((a, b) => Number(a.getAttribute(turn)) - Number(b.getAttribute(turn)));
}

function move(input, step) {
  const all = inOrder(input.form);
  const next = all[all.indexOf(input) + step];
  if (next) { next.focus(); next.select(); next.cameFrom = step > 0 ? input : null; }
  else if (step > 0) input.form.querySelector("[type=submit]")?.focus();
}

function complete(input) {
  return input.closest(".engine-reading") !== null && COMPLETE[unitOf(input.form)].test(input.value.trim());
}

const isEntered = (reading) => reading.querySelector("input").value.trim() !== "";

/* The empty ones before the last that is entered, going round: a figure typed one valve on shows at once. */
function passedOver(form) {
  const readings = [...new Set(inOrder(form).map((input) => input.closest(".engine-reading")).filter(Boolean))];
  return readings.slice(0, readings.findLastIndex(isEntered) + 1).filter((reading) => !isEntered(reading));
}

function named(readings) {
  const names = readings.slice(0, MOST_NAMED).map((reading) => reading.querySelector("label .visually-hidden").textContent);
  return `${names.join("; ")}${readings.length > MOST_NAMED ? ` and ${readings.length - MOST_NAMED} more` : ""}`;
}

function count(form) {
  const place = form.querySelector("[data-bench-count]");
  if (!place) return;
  const readings = [...form.querySelectorAll(".engine-reading")];
  const out = form.querySelectorAll(".verdict-below, .verdict-above").length;
  const passed = passedOver(form);
  place.textContent = `${readings.filter(isEntered).length} of ${readings.length} entered`
    + (out ? `, ${out} out of range` : "") + (passed.length ? `, passed over: ${named(passed)}` : "");
}

document.addEventListener("focusin", (event) => {
  if (event.target.matches?.(BOXES)) event.target.wasEmpty = event.target.value.trim() === "";
});

document.addEventListener("input", (event) => {
  const input = event.target;
  if (!input.matches?.(BOXES)) return;
  show(input);
  const closer = document.querySelector(`[data-opener="${input.closest(".engine-reading")?.dataset.place}"] ${BOXES}`);
  if (closer) show(closer);
  count(input.form);
  // Moves on only in a box that was empty when it was entered: a correction stays where it is.
  if (event.isTrusted && input.wasEmpty && event.inputType !== "deleteContentBackward" && complete(input)) move(input, 1);
});

/* A dash after moving on belongs to the figure before it: 0.10-0.12 is one reading. */
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
  move(event.target, event.shiftKey ? -1 : 1);
});

function judgeAll(form) {
  for (const input of form.querySelectorAll(BOXES)) show(input);
  count(form);
}

/* What is typed keeps its unit when the blades are changed: 0.12 becomes "0.12 mm". */
function changeBlades(form, before) {
  for (const reading of form.querySelectorAll(".engine-reading")) {
    for (const input of reading.querySelectorAll(BOXES)) {
      if (/\d\s*$/.test(input.value)) {
        input.value = `${input.value.trim()} ${before}`;
        input.dispatchEvent(new Event("input", { bubbles: true }));
      }
    }
  }
}

function tellBlades(form) {
  form.dataset.blades = unitOf(form);
  const example = form.querySelector("[data-bench-example]");
  if (example) example.textContent = EXAMPLES[unitOf(form)];
}

document.addEventListener("change", (event) => {
  const field = event.target;
  if (field.matches?.("[data-bench-order]")) { keep("order", field.value); count(field.form); }
  if (field.name !== "blades" && field.name !== "closing_as") return;
  if (field.name === "blades") {
    changeBlades(field.form, field.form.dataset.blades);
    keep("blades", field.value);
    tellBlades(field.form);
  }
  judgeAll(field.form);
});
/* A draft put back chooses the blades it was typed with. */
document.addEventListener("input", (event) => {
  if (event.isTrusted || (event.target.name !== "blades" && event.target.name !== "closing_as")) return;
  setTimeout(() => { tellBlades(event.target.form); judgeAll(event.target.form); }, 0);
});

function choose(form) {
  const order = form.querySelector("[data-bench-order]");
  form.querySelector("[data-bench-moves]").hidden = order.options.length < 2;
  if ([...order.options].some((option) => option.value === kept("order"))) order.value = kept("order");
  const empty = [...form.querySelectorAll(BOXES)].every((input) => !input.closest(".engine-reading") || input.value === "");
  if (empty && Object.hasOwn(MM_PER, kept("blades"))) form.elements.blades.value = kept("blades");
  tellBlades(form);
}

const engines = new ResizeObserver((entries) => {
  for (const { target } of entries) {
    const widths = [...target.querySelectorAll(".engine-valve")].map((valve) => valve.clientWidth);
    if (widths.length) target.style.setProperty("--valve-width", `${Math.min(...widths)}px`);
  }
});

function start(root) {
  for (const form of root.querySelectorAll("form")) {
    if (!form.querySelector("[data-bench-order]")) continue;
    choose(form);
    engines.observe(form.querySelector(".engine"));
    for (const input of form.querySelectorAll(BOXES)) if (input.value) show(input);
    count(form);
    const entered = document.activeElement; // perhaps before this script had come
    if (entered.form === form && entered.matches(BOXES)) entered.wasEmpty ??= entered.defaultValue.trim() === "";
  }
}
document.addEventListener("htmx:load", (event) => start(event.target));
start(document);

/* This page, with what it is made of, is kept to be opened again while the network is gone. Not over plain http. */
const worker = document.querySelector("meta[name=bench-worker]")?.content;
if (worker && navigator.serviceWorker) {
  navigator.serviceWorker.register(worker).then(() => navigator.serviceWorker.ready).then((ready) => {
    const parts = performance.getEntriesByType("resource").map((entry) => entry.name);
    ready.active.postMessage({ page: location.origin + location.pathname, parts });
  }).catch(() => { /* drafts still stand; the page cannot be opened without the network */ });
}
