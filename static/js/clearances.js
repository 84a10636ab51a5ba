/* Entry of clearances at the bench: moves to the next box by itself, judges each box as it is typed, opens offline.

   <input data-order-cylinder="1" data-order-side="5" ...>   position of the box in each entry order; Enter moves on,
                                  Shift+Enter back
     data-own-round                 Enter moves only among such boxes (measured shims), and never into one from another
   <select data-bench-order>      the entry order; this browser remembers it
   <select name="blades">         the unit of a number typed without one (mm, in); this browser remembers it
   <select name="closing_as">     "loaded_gap": a closing box holds the opener's gap with the play taken up
   .engine-reading                one clearance:
     data-place, data-opener        its name; the name of the opening clearance of the same valve
     data-low, data-high            the range of the engine spec, in mm
     data-target, data-tolerance    the target and how near counts as on target, in mm
     data-predicted, data-within    what the shim plan predicted and how near counts as that, in mm
     .verdict                       shows the word and the shape
     .prediction                    says how far the clearance is from the predicted one
     data-bracket="stops"           a second input: the smallest blade that does not go
   [data-bench-count]             "7 of 12 entered, 2 out of range"
   [data-bench-passed]            "1 valve passed over: cylinder 2, intake left"
   .engine                        gets the width of its narrowest valve as --valve-width, which sizes its text
   <meta name="bench-worker">     the service worker that opens this page while offline

   A clearance is one value (0.12), or the largest blade that goes and the smallest that does not: in one box
   (0.10-0.12) or in two.

   A box moves on by itself from one clearance to the next, never to a shim or the button. What is pressed right after
   that belongs to the number just typed: Enter or Tab ends it and moves no further, and a character that begins no
   clearance (a dash, a third decimal, a unit) goes back to it.

   Only a preview: the server reads and judges what is sent. */

import { MM_PER, WORDS, closingFromGaps, describeMismatch, judge, readClearance, readLimits } from "./verdicts.js";

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

/* The ends of a clearance as it is judged: of a closing one typed as a loaded gap, worked out from both gaps. */
function readEnds(reading) {
  const ends = readInputs(reading);
  const takesLoadedGaps = reading.closest("form").elements.closing_as?.value === "loaded_gap";
  if (!reading.dataset.opener || !takesLoadedGaps) return ends;
  const opener = document.querySelector(`[data-place="${reading.dataset.opener}"]`);
  return closingFromGaps(opener ? readInputs(opener) : [], ends);
}

function showWord(reading, slug, text) {
  const place = reading.querySelector(".verdict");
  reading.dataset.judged = slug;
  if (place.dataset.verdict === slug) return;
  place.dataset.verdict = slug;
  // What was passed over is told once, beside the button.
  place.ariaLive = slug in WORDS ? "polite" : "off";
  place.className = slug ? `verdict verdict-${slug === "unreadable" ? "cannot-tell" : slug}` : "verdict";
  place.textContent = text;
}

function showReading(reading, isPassed) {
  const ends = readEnds(reading);
  const found = judge(ends, readLimits(reading.dataset));
  if (isPassed) showWord(reading, "passed", "passed over");
  else showWord(reading, found, WORDS[found] || "");
  const place = reading.querySelector(".prediction");
  const mismatch = place ? describeMismatch(ends, reading.dataset, unitOf(reading.closest("form"))) : "";
  if (place && place.textContent !== mismatch) place.textContent = mismatch;
}

function inputsInOrder(form) {
  const position = `data-order-${form.querySelector("[data-bench-order]")?.value || "cylinder"}`;
  return [...form.querySelectorAll(BOXES)].filter((input) => !input.disabled && input.offsetParent !== null)
    .toSorted((a, b) => Number(a.getAttribute(position)) - Number(b.getAttribute(position)));
}

let arrived = null; // the box that was moved to by itself, as long as nothing was pressed in it

const isClearance = (input) => input.closest(".engine-reading") !== null;

function moveFocus(input, step, byItself = false) {
  const round = inputsInOrder(input.form).filter((other) => ("ownRound" in other.dataset) === ("ownRound" in input.dataset));
  const next = round[round.indexOf(input) + step];
  if (byItself && !(next && isClearance(next))) return;
  arrived = byItself ? next : null;
  if (next) { next.focus(); next.select(); next.cameFrom = step > 0 ? input : null; }
  else if (step > 0) input.form.querySelector("[type=submit]")?.focus();
}

function isComplete(input) {
  return isClearance(input) && COMPLETE[unitOf(input.form)].test(input.value.trim());
}

const isEntered = (reading) => reading.querySelector("input").value.trim() !== "";

/* The empty ones before the last that is entered, in entry order: a value typed one valve too far shows at once. */
function skippedReadings(form) {
  const readings = [...new Set(inputsInOrder(form).map((input) => input.closest(".engine-reading")).filter(Boolean))];
  return readings.slice(0, readings.findLastIndex(isEntered) + 1).filter((reading) => !isEntered(reading));
}

function describePassed(readings) {
  if (!readings.length) return "";
  const names = readings.slice(0, MAX_NAMED).map((reading) => reading.querySelector("label .visually-hidden").textContent);
  const valves = new Set(readings.map((reading) => reading.dataset.place.replace(/-[a-z]+$/, ""))).size;
  return `${valves} valve${valves === 1 ? "" : "s"} passed over: ${names.join("; ")}`
    + (readings.length > MAX_NAMED ? ` and ${readings.length - MAX_NAMED} more` : "");
}

function showProgress(form) {
  const readings = [...form.querySelectorAll(".engine-reading")];
  const passed = skippedReadings(form);
  for (const reading of readings) showReading(reading, passed.includes(reading));
  const out = form.querySelectorAll(".verdict-tight, .verdict-loose").length;
  const unpredicted = form.querySelectorAll(".prediction:not(:empty)").length;
  form.querySelector("[data-bench-count]").textContent = `${readings.filter(isEntered).length} of ${readings.length} entered`
    + (out ? `, ${out} out of range` : "") + (unpredicted ? `, ${unpredicted} not as predicted` : "");
  const place = form.querySelector("[data-bench-passed]"), text = describePassed(passed);
  if (place.textContent !== text) place.textContent = text;
}

document.addEventListener("focusin", (event) => {
  if (event.target !== arrived) arrived = null;
  if (event.target.matches?.(BOXES)) event.target.wasEmpty = event.target.value.trim() === "";
});
document.addEventListener("focusout", (event) => {
  const reading = event.target.closest?.(".engine-reading");
  if (reading?.dataset.judged === "waiting") showWord(reading, "", "");
});
document.addEventListener("pointerdown", () => { arrived = null; });

document.addEventListener("input", (event) => {
  const input = event.target;
  if (!input.matches?.(BOXES)) return;
  arrived = null;
  showProgress(input.form);
  // Only from a box that was empty when it got the focus: a correction must not lose it.
  if (event.isTrusted && input.wasEmpty && event.inputType !== "deleteContentBackward" && isComplete(input)) moveFocus(input, 1, true);
});

document.addEventListener("beforeinput", (event) => {
  const input = event.target;
  const before = input.matches?.(BOXES) && (input === arrived || input.value === "") ? input.cameFrom : null;
  const belongsBefore = input === arrived ? /^[^0.,]$/ : /^[-–/]$/;
  if (!before || !belongsBefore.test(event.data || "") || !isClearance(before)) return;
  event.preventDefault();
  before.focus();
  before.value += event.data;
  before.setSelectionRange(before.value.length, before.value.length);
  before.dispatchEvent(new Event("input", { bubbles: true }));
});

document.addEventListener("keydown", (event) => {
  const input = event.target;
  if (!input.matches?.(BOXES) || event.ctrlKey || event.metaKey) return;
  const isEnter = event.key === "Enter";
  if (input === arrived && !event.shiftKey && (isEnter || event.key === "Tab")) {
    event.preventDefault();
    arrived = null;
    if (input.value === "") showWord(input.closest(".engine-reading"), "waiting", `${event.key} again passes over`);
  } else if (isEnter) {
    event.preventDefault();
    if (!event.repeat) moveFocus(input, event.shiftKey ? -1 : 1);
  }
});

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
  showProgress(field.form);
});
/* A restored draft sets the unit it was typed in. */
document.addEventListener("input", (event) => {
  if (event.isTrusted || (event.target.name !== "blades" && event.target.name !== "closing_as")) return;
  setTimeout(() => { showUnit(event.target.form); showProgress(event.target.form); }, 0);
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
