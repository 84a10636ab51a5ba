/* Clearances typed at the bench: moves on by itself and judges each box as it is typed.

   <input data-valve-order="1">   the order in which the valves are measured
   data-low, data-high            the maker's range in mm, on the input or on a box around it
   data-target, data-tolerance    the blueprint target and how near counts as on it
   data-decimals                  digits after the mark that make a value complete (2 when not given)
   data-bracket="goes|stops"      largest blade that goes, smallest that does not: two inputs in one .engine-reading
   .verdict                       in the same .engine-reading or .engine-valve: takes the word and the shape
   [data-bench-count]             "7 of 12 entered, 2 out of range"

   Only a preview: the server reads and judges what is sent. */
(function () {
  "use strict";
  const NEAR = 1e-9; // 0.1 + 0.02 must still count as 0.12
  const WORDS = {
    below: "below range", above: "above range", "off-target": "in range, off target", "on-target": "on target",
    "in-range": "in range", "cannot-tell": "cannot tell", unreadable: "not a number",
  };

  /* Comma or point, digits only; null when empty, NaN when it cannot be read. */
  function number(text) {
    const plain = text.trim().replace(",", ".");
    if (plain === "") return null;
    return /^(\d+\.?\d*|\.\d+)$/.test(plain) ? Number(plain) : NaN;
  }

  function limit(input, name) {
    const holder = input.closest(`[data-${name}]`);
    const value = holder ? number(holder.dataset[name]) : null;
    return value === null || Number.isNaN(value) ? null : value;
  }

  function limits(input) {
    return { low: limit(input, "low"), high: limit(input, "high"), target: limit(input, "target"), tolerance: limit(input, "tolerance") ?? 0 };
  }

  function judge(value, { low, high, target, tolerance }) {
    if (low !== null && value < low - NEAR) return "below";
    if (high !== null && value > high + NEAR) return "above";
    if (target !== null) return Math.abs(value - target) <= tolerance + NEAR ? "on-target" : "off-target";
    return low !== null || high !== null ? "in-range" : "";
  }

  /* goes <= clearance < stops: certain only where the whole bracket lies on one side. */
  function judgeBracket(goes, stops, { low, high, target, tolerance }) {
    if (stops <= goes) return "unreadable";
    if (low !== null && stops <= low + NEAR) return "below";
    if (high !== null && goes > high + NEAR) return "above";
    if ((low !== null && goes < low - NEAR) || (high !== null && stops > high + NEAR)) return "cannot-tell";
    if (target === null) return low !== null || high !== null ? "in-range" : "";
    if (goes >= target - tolerance - NEAR && stops <= target + tolerance + NEAR) return "on-target";
    if (stops <= target - tolerance + NEAR || goes > target + tolerance + NEAR) return "off-target";
    return "in-range";
  }

  function boxOf(input) { return input.closest(".engine-reading") || input.closest(".engine-valve"); }

  function verdictOf(input) {
    const own = [...boxOf(input).querySelectorAll("input[data-valve-order]")];
    const values = own.map((each) => number(each.value));
    if (values.some((value) => Number.isNaN(value))) return "unreadable";
    const goes = own.findIndex((each) => each.dataset.bracket === "goes");
    const stops = own.findIndex((each) => each.dataset.bracket === "stops");
    if (goes >= 0 && stops >= 0) {
      return values[goes] === null || values[stops] === null ? "" : judgeBracket(values[goes], values[stops], limits(input));
    }
    const value = number(input.value);
    return value === null ? "" : judge(value, limits(input));
  }

  function show(input) {
    const found = verdictOf(input);
    const box = boxOf(input);
    const place = box.querySelector(".verdict");
    box.dataset.judged = found;
    if (!place || place.dataset.verdict === found) return;
    place.dataset.verdict = found;
    place.setAttribute("aria-live", "polite");
    const shape = found === "unreadable" ? "cannot-tell" : found;
    place.className = found ? `verdict verdict-${shape}` : "verdict";
    place.textContent = WORDS[found] || "";
  }

  function inOrder(form) {
    return [...form.querySelectorAll("input[data-valve-order]")].filter((input) => !input.disabled)
      .sort((a, b) => Number(a.dataset.valveOrder) - Number(b.dataset.valveOrder));
  }

  function move(input, step) {
    const all = inOrder(input.form);
    const next = all[all.indexOf(input) + step];
    if (next) { next.focus(); next.select(); }
    else if (step > 0) input.form.querySelector("[type=submit]")?.focus();
  }

  function complete(input) {
    const wanted = Number(input.closest("[data-decimals]")?.dataset.decimals || 2);
    return new RegExp(`^\\d*[.,]\\d{${wanted}}$`).test(input.value.trim());
  }

  function count(form) {
    const place = form.querySelector("[data-bench-count]");
    if (!place) return;
    const boxes = [...form.querySelectorAll("input[data-valve-order]")];
    const typed = boxes.filter((input) => input.value.trim() !== "").length;
    const out = form.querySelectorAll(".verdict-below, .verdict-above").length;
    place.textContent = `${typed} of ${boxes.length} entered${out ? `, ${out} out of range` : ""}`;
  }

  document.addEventListener("focusin", (event) => {
    if (event.target.matches?.("input[data-valve-order]")) event.target.wasEmpty = event.target.value.trim() === "";
  });

  document.addEventListener("input", (event) => {
    const input = event.target;
    if (!input.matches?.("input[data-valve-order]")) return;
    show(input);
    count(input.form);
    // Moves on only in a box that was empty when it was entered: a correction stays where it is.
    if (event.isTrusted && input.wasEmpty && event.inputType !== "deleteContentBackward" && complete(input)) move(input, 1);
  });

  document.addEventListener("keydown", (event) => {
    if (event.key !== "Enter" || !event.target.matches?.("input[data-valve-order]")) return;
    event.preventDefault();
    move(event.target, event.shiftKey ? -1 : 1);
  });

  function start(root) {
    for (const input of root.querySelectorAll("input[data-valve-order]")) if (input.value) show(input);
    for (const form of root.querySelectorAll("form")) count(form);
  }
  document.addEventListener("htmx:load", (event) => start(event.target));
  start(document);
})();
