/* Entry of clearances at the bench: moves to the next box by itself, judges each box as it is typed, opens offline.

   <form data-pass>               "all" without this script, then "clearances" or "shims": what the drawing shows
   <input data-order-cylinder="1" data-order-side="5" ...>   position of the box in each entry order; Enter moves on,
                                  Shift+Enter back, an arrow to the neighbour in the drawing
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
   [data-bench-count]             "7 of 12 measured, 2 tight"
   [data-bench-passed]            "1 valve skipped: cylinder 2, intake left"
   [data-bench-valve], [data-bench-gauge], [data-bench-off]   the valve with the keyboard, where it lies, how far off
   [data-bench-pad], [data-bench-keypad]   keys for gloves, and the button that shows them: while they are shown the
                                  system's keyboard stays away; this browser remembers the choice
   [data-bench-undo]              takes back the last reading, as Ctrl+Z does
   .engine                        gets the width of its narrowest valve as --valve-width, which sizes its text

   A clearance is one value (0.12), or the largest blade that goes and the smallest that does not: in one box
   (0.10-0.12) or in two.

   A box moves on by itself from one clearance to the next, never to a shim or the button. What is pressed right after
   that belongs to the number just typed: Enter or Tab ends it and moves no further, and a character that begins no
   clearance (a dash, a third decimal, a unit) goes back to it.

   Only a preview: the server reads and judges what is sent. */

import { showGauge } from "./clearances_gauge.js";
import { MM_PER, WORDS, closingFromGaps, describeDistance, describeMismatch, isHalfTyped, judge, limitMet, readClearance, readLimits, wordOf } from "./verdicts.js";

const BOXES = "input[data-order-cylinder]";
const COMPLETE = { mm: /^\d*[.,]\d{2}$/, in: /^\d*[.,]\d{4}$/ };
const MAX_NAMED = 3;
const EXAMPLES = { mm: "0.10-0.12", in: "0.004-0.005" };
const COUNTED = { tight: "tight", loose: "loose", "cannot-tell": "not certain" };
const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };

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

/* The ends of a clearance as it is judged: of a closing one typed as a loaded gap, calculated from both gaps. */
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
  if (place.textContent === text && place.dataset.verdict === slug) return;
  place.dataset.verdict = slug;
  // What was skipped is told once, beside the button.
  place.ariaLive = slug in WORDS ? "polite" : "off";
  place.className = slug ? `verdict verdict-${slug === "unreadable" ? "cannot-tell" : slug}` : "verdict";
  place.textContent = text;
}

/* Not while the number is still being typed: 0.1 would be tight on the way to 0.16. */
function isBeingTyped(reading) {
  const input = document.activeElement;
  return reading.contains(input) && input.matches(BOXES) && isHalfTyped(input.value, unitOf(input.form));
}

function showReading(reading, isPassed) {
  const ends = isBeingTyped(reading) ? [] : readEnds(reading);
  if (reading.dataset.judged === "waiting" && !ends.length && reading.contains(document.activeElement)) return;
  const limits = readLimits(reading.dataset), found = judge(ends, limits);
  if (isPassed) showWord(reading, "passed", "skipped");
  else showWord(reading, found, wordOf(ends, limits));
  reading.dataset.limit = limitMet(ends, limits);
  const place = reading.querySelector(".prediction");
  const mismatch = place ? describeMismatch(ends, reading.dataset, unitOf(reading.closest("form"))) : "";
  if (place && place.textContent !== mismatch) place.textContent = mismatch;
}

// Which boxes there are, and the way through them

const isClearance = (input) => input.closest(".engine-reading") !== null;
const passOf = (input) => (isClearance(input) ? "clearances" : "shims");

/* Every box that is shown, or would be in the other pass. */
function inputsInOrder(form) {
  const position = `data-order-${form.querySelector("[data-bench-order]")?.value || "cylinder"}`;
  return [...form.querySelectorAll(BOXES)]
    .filter((input) => !input.disabled && (input.offsetParent !== null || passOf(input) !== form.dataset.pass && !input.dataset.bracket))
    .toSorted((a, b) => Number(a.getAttribute(position)) - Number(b.getAttribute(position)));
}

function showPass(form, pass) {
  const passes = form.querySelector("[data-bench-passes]");
  if (!passes || form.dataset.pass === pass) return;
  form.dataset.pass = pass;
  for (const button of passes.querySelectorAll("button")) button.ariaPressed = String(button.value === pass);
}

let arrived = null; // the box that was moved to by itself, as long as nothing was pressed in it
let current = null; // the box that has the keyboard, or had it last

function enter(input) {
  showPass(input.form, passOf(input));
  input.focus();
  input.select();
}

function moveFocus(input, step, byItself = false) {
  const round = inputsInOrder(input.form).filter((other) => ("ownRound" in other.dataset) === ("ownRound" in input.dataset));
  const next = round[round.indexOf(input) + step];
  if (byItself && !(next && isClearance(next))) return;
  arrived = byItself ? next : null;
  if (next) { next.cameFrom = step > 0 ? input : null; enter(next); }
  else if (step > 0) input.form.querySelector("[type=submit]")?.focus();
}

/* To the nearest box of its kind in that direction of the drawing; one straight ahead counts as nearer. */
function moveTowards(input, [x, y]) {
  const centre = (box) => { const { left, top, width, height } = box.getBoundingClientRect(); return [left + width / 2, top + height / 2]; };
  const [fromX, fromY] = centre(input);
  const others = inputsInOrder(input.form).filter((box) => box !== input && box.name[0] === input.name[0] && box.offsetParent !== null).map((box) => {
    const [atX, atY] = centre(box), ahead = (atX - fromX) * x + (atY - fromY) * y;
    return { box, ahead, far: ahead + 3 * Math.abs((atX - fromX) * y + (atY - fromY) * x) };
  });
  const nearest = others.filter(({ ahead }) => ahead > 5).toSorted((a, b) => a.far - b.far)[0];
  if (nearest) enter(nearest.box);
}

function isComplete(input) {
  return isClearance(input) && COMPLETE[unitOf(input.form)].test(input.value.trim());
}

// What is measured so far

const isEntered = (reading) => reading.querySelector("input").value.trim() !== "";

/* The empty ones before the last that is entered, in entry order: a value typed one valve too far shows at once. */
function skippedReadings(form) {
  const readings = [...new Set(inputsInOrder(form).map((input) => input.closest(".engine-reading")).filter(Boolean))];
  return readings.slice(0, readings.findLastIndex(isEntered) + 1).filter((reading) => !isEntered(reading));
}

const nameOf = (reading) => reading.querySelector("label .visually-hidden").textContent;

function describePassed(readings) {
  if (!readings.length) return "";
  const names = readings.slice(0, MAX_NAMED).map(nameOf);
  const valves = new Set(readings.map((reading) => reading.dataset.place.replace(/-[a-z]+$/, ""))).size;
  return `${valves} valve${valves === 1 ? "" : "s"} skipped: ${names.join("; ")}`
    + (readings.length > MAX_NAMED ? ` and ${readings.length - MAX_NAMED} more` : "");
}

function describeCount(form, readings) {
  const counts = Object.entries(COUNTED).map(([slug, word]) => [form.querySelectorAll(`.verdict-${slug}`).length, word]);
  counts.push([form.querySelectorAll(".prediction:not(:empty)").length, "not as predicted"]);
  return [`${readings.filter(isEntered).length} of ${readings.length} measured`,
    ...counts.filter(([count]) => count).map(([count, word]) => `${count} ${word}`)].join(", ");
}

function showProgress(form) {
  const readings = [...form.querySelectorAll(".engine-reading")];
  const passed = skippedReadings(form);
  for (const reading of readings) showReading(reading, passed.includes(reading));
  form.querySelector("[data-bench-count]").textContent = describeCount(form, readings);
  const place = form.querySelector("[data-bench-passed]"), text = describePassed(passed);
  if (place.textContent !== text) place.textContent = text;
  showCurrent(form);
  form.querySelector("[data-bench-undo]").disabled = !canUndo();
}

/* The valve with the keyboard: its name, and where its clearance lies. Right after a box has moved on by itself, the valve
   just measured, until something is pressed. */
function showCurrent(form) {
  const shown = current !== null && current === arrived && current.value === "" ? current.cameFrom : current;
  const place = shown?.form === form ? shown.closest(".engine-valve").querySelector(".engine-reading") : null;
  form.querySelector("[data-bench-now]").hidden = !place;
  if (!place) return;
  const name = nameOf(place), limits = readLimits(place.dataset), ends = isBeingTyped(place) ? [] : readEnds(place);
  form.querySelector("[data-bench-valve]").textContent = name[0].toUpperCase() + name.slice(1);
  form.querySelector("[data-bench-off]").textContent = describeDistance(ends, limits, unitOf(form));
  showGauge(form.querySelector("[data-bench-gauge]"), ends, limits, unitOf(form));
}

// Undo: one reading at a time, since a single character tells nothing with gloves on

let changes = []; // [box, what it held before]

const isChanged = (input) => input !== null && input.isConnected && input.value !== input.before;
const canUndo = () => changes.length > 0 || isChanged(current);

function noteChange(input) {
  if (isChanged(input)) changes.push([input, input.before]);
  input.before = input.value;
}

function write(input, text) {
  input.value = text;
  input.dispatchEvent(new Event("input", { bubbles: true }));
}

function undo() {
  const [input, text] = isChanged(current) ? [current, current.before] : changes.pop() ?? [];
  if (!input) return;
  enter(input);
  input.before = text;
  write(input, text);
  input.wasEmpty = text.trim() === "";
}

// What is pressed

document.addEventListener("focusin", ({ target: input }) => {
  if (input !== arrived) arrived = null;
  if (!input.matches?.(BOXES)) return;
  input.wasEmpty = input.value.trim() === "";
  input.before = input.value;
  current = input;
  showCurrent(input.form);
});
document.addEventListener("focusout", ({ target: input }) => {
  if (!input.matches?.(BOXES)) return;
  noteChange(input);
  const reading = input.closest(".engine-reading");
  if (reading?.dataset.judged === "waiting") showWord(reading, "", "");
  setTimeout(() => { if (input.isConnected) showProgress(input.form); }, 0); // a number left half typed is judged now
});
document.addEventListener("pointerdown", (event) => { if (!event.target.closest("[data-bench-pad]")) arrived = null; });

let isPressed = false; // by the keypad on the page

document.addEventListener("input", (event) => {
  const input = event.target;
  if (!input.matches?.(BOXES)) return;
  arrived = null;
  showProgress(input.form);
  // Only from a box that was empty when it got the focus: a correction must not lose it.
  if ((event.isTrusted || isPressed) && input.wasEmpty && event.inputType !== "deleteContentBackward" && isComplete(input)) moveFocus(input, 1, true);
});

/* The box that a character belongs to, if it is not the one with the keyboard: a dash after the box has moved on. */
function boxBefore(input, character) {
  const before = input === arrived || input.value === "" ? input.cameFrom : null;
  const belongsBefore = input === arrived ? /^[^0.,]$/ : /^[-–/]$/;
  return before && belongsBefore.test(character) && isClearance(before) ? before : null;
}

function append(input, character) {
  input.focus();
  write(input, input.value + character);
  input.setSelectionRange(input.value.length, input.value.length);
}

document.addEventListener("beforeinput", (event) => {
  const before = event.target.matches?.(BOXES) ? boxBefore(event.target, event.data || "") : null;
  if (!before) return;
  event.preventDefault();
  append(before, event.data);
});

/* Backspace right after a box has moved on by itself takes the last character of the number just typed. */
function deleteBefore(input) {
  if (input !== arrived || input.value !== "" || !input.cameFrom) return false;
  const before = input.cameFrom;
  before.focus();
  write(before, before.value.slice(0, -1));
  before.setSelectionRange(before.value.length, before.value.length);
  return true;
}

/* Enter or Tab right after a box has moved on by itself ends the number before. */
function endNumber(input, key) {
  if (input !== arrived) return false;
  arrived = null;
  if (input.value === "") showWord(input.closest(".engine-reading"), "waiting", `${key} again skips`);
  return true;
}

function isAtEdge(input, key) {
  if (key === "ArrowUp" || key === "ArrowDown" || input.selectionEnd - input.selectionStart === input.value.length) return true;
  return key === "ArrowLeft" ? input.selectionEnd === 0 : input.selectionStart === input.value.length;
}

document.addEventListener("keydown", (event) => {
  const input = event.target, { key } = event;
  if (!input.matches?.(BOXES)) return;
  if ((event.ctrlKey || event.metaKey) && key.toLowerCase() === "z" && !event.shiftKey) {
    event.preventDefault();
    undo();
  }
  if (event.ctrlKey || event.metaKey || event.altKey) return;
  if ((key === "Enter" || key === "Tab") && !event.shiftKey && endNumber(input, key)) event.preventDefault();
  else if (key === "Backspace" && deleteBefore(input)) event.preventDefault();
  else if (key === "Enter") {
    event.preventDefault();
    if (!event.repeat) moveFocus(input, event.shiftKey ? -1 : 1);
  } else if (key in ARROWS && !event.shiftKey && isAtEdge(input, key)) {
    event.preventDefault();
    moveTowards(input, ARROWS[key]);
  }
});

function pressKey(form, key) {
  const input = current?.form === form ? current : inputsInOrder(form)[0];
  if (document.activeElement !== input) enter(input);
  const { selectionStart: from, selectionEnd: to, value } = input;
  if (key === "next") { if (!endNumber(input, "Next")) moveFocus(input, 1); }
  else if (key === "back") moveFocus(input, -1);
  else if (key === "delete") { if (!deleteBefore(input)) write(input, value.slice(0, from === to ? Math.max(0, from - 1) : from) + value.slice(to)); }
  else {
    const before = boxBefore(input, key);
    if (before) { append(before, key); return; }
    isPressed = true;
    write(input, value.slice(0, from) + key + value.slice(to));
    isPressed = false;
  }
}

function showKeypad(form, isShown) {
  form.querySelector("[data-bench-pad]").hidden = !isShown;
  form.querySelector("[data-bench-keypad]").ariaPressed = String(isShown);
  for (const input of form.querySelectorAll(BOXES)) input.inputMode = isShown ? "none" : "decimal";
}

// A key of the keypad leaves the keyboard in its box.
document.addEventListener("pointerdown", (event) => { if (event.target.closest("[data-bench-pad]")) event.preventDefault(); });

document.addEventListener("click", (event) => {
  const button = event.target.closest?.("button"), link = event.target.closest?.("a[href^='#id_']");
  const named = link ? document.getElementById(link.hash.slice(1)) : null;
  if (named?.matches(BOXES)) showPass(named.form, passOf(named));
  if (!button?.form?.querySelector("[data-bench-order]")) return;
  if (button.closest("[data-bench-pad]")) pressKey(button.form, button.value);
  else if (button.closest("[data-bench-passes]")) showPass(button.form, button.value);
  else if (button.matches("[data-bench-undo]")) undo();
  else if (button.matches("[data-bench-keypad]")) {
    const isShown = button.ariaPressed !== "true";
    remember("keypad", isShown ? "shown" : "hidden");
    showKeypad(button.form, isShown);
    current?.focus();
  }
});

/* Values typed before the unit was changed keep theirs: 0.12 becomes "0.12 mm". */
function keepUnitOfTyped(form, before) {
  for (const input of form.querySelectorAll(`.engine-reading ${BOXES}`)) {
    if (/\d\s*$/.test(input.value)) write(input, `${input.value.trim()} ${before}`);
  }
  changes = [];
  if (current) current.before = current.value;
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

function showTools(form) {
  for (const tool of form.querySelectorAll("[data-bench-undo], [data-bench-keypad], [data-bench-passes]")) tool.hidden = false;
  showKeypad(form, recall("keypad") ? recall("keypad") === "shown" : matchMedia("(pointer: coarse)").matches);
  const isShimWrong = form.querySelector(".engine-shims .is-invalid") && !form.querySelector(".engine-reading .is-invalid");
  form.dataset.pass = form.querySelector("[data-bench-passes]") ? "" : "clearances";
  showPass(form, isShimWrong ? "shims" : "clearances");
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
    showTools(form);
    valveSizes.observe(form.querySelector(".engine"));
    const focused = document.activeElement; // may have got the focus before this script ran
    if (focused.form === form && focused.matches(BOXES)) {
      focused.wasEmpty ??= focused.defaultValue.trim() === "";
      focused.before ??= focused.defaultValue;
      current = focused;
    }
    showProgress(form);
  }
}
document.addEventListener("htmx:load", (event) => start(event.target));
start(document);
