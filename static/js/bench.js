/* Clearances typed at the bench: moves on by itself and judges each box as it is typed.

   <input data-valve-order="1">   the order in which the boxes are filled in; Enter goes on, Shift+Enter back
   .engine-reading                around one clearance, in which it is judged:
     data-low, data-high            the maker's range
     data-target, data-tolerance    the blueprint target and how near counts as on it
     .verdict                       takes the word and the shape
     data-bracket="stops"           a second input: the smallest blade that does not go
   data-decimals                  digits after the mark that make a value complete (2 when not given)
   [data-bench-count]             "7 of 12 entered, 2 out of range"

   A clearance is one figure (0.12), or the largest blade that goes and the smallest that does not: in one box
   (0.10-0.12) or in two.

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

  /* One figure, or both ends of a bracket; NaN where a part cannot be read. */
  function figures(text) {
    if (text.trim() === "") return [];
    return text.split(/[-–/]/).map((part) => (part.trim() === "" ? NaN : number(part)));
  }

  function limits(reading) {
    const read = (name) => { const value = number(reading.dataset[name] || ""); return Number.isNaN(value) ? null : value; };
    return { low: read("low"), high: read("high"), target: read("target"), tolerance: read("tolerance") ?? 0 };
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
    return judge((goes + stops) / 2, { low, high, target, tolerance });
  }

  function verdictOf(reading) {
    const all = [...reading.querySelectorAll("input[data-valve-order]")].flatMap((input) => figures(input.value));
    if (all.some((value) => Number.isNaN(value)) || all.length > 2) return "unreadable";
    if (!all.length) return "";
    return all.length === 1 ? judge(all[0], limits(reading)) : judgeBracket(all[0], all[1], limits(reading));
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
    return [...form.querySelectorAll("input[data-valve-order]")].filter((input) => !input.disabled && input.offsetParent !== null)
      .sort((a, b) => Number(a.dataset.valveOrder) - Number(b.dataset.valveOrder));
  }

  function move(input, step) {
    const all = inOrder(input.form);
    const next = all[all.indexOf(input) + step];
    if (next) { next.focus(); next.select(); next.cameFrom = step > 0 ? input : null; }
    else if (step > 0) input.form.querySelector("[type=submit]")?.focus();
  }

  function complete(input) {
    const wanted = Number(input.closest("[data-decimals]")?.dataset.decimals || 2);
    return new RegExp(`^\\d*[.,]\\d{${wanted}}$`).test(input.value.trim());
  }

  function count(form) {
    const place = form.querySelector("[data-bench-count]");
    if (!place) return;
    const readings = [...form.querySelectorAll(".engine-reading")];
    const typed = readings.filter((reading) => reading.querySelector("input").value.trim() !== "").length;
    const out = form.querySelectorAll(".verdict-below, .verdict-above").length;
    place.textContent = `${typed} of ${readings.length} entered${out ? `, ${out} out of range` : ""}`;
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

  /* A dash after moving on belongs to the figure before it: 0.10-0.12 is one reading. */
  document.addEventListener("beforeinput", (event) => {
    const input = event.target;
    const before = input.matches?.("input[data-valve-order]") && input.value === "" ? input.cameFrom : null;
    if (!before || !/^[-–/]$/.test(event.data || "") || !before.closest(".engine-reading")) return;
    event.preventDefault();
    before.focus();
    before.value += event.data;
    before.setSelectionRange(before.value.length, before.value.length);
    before.dispatchEvent(new Event("input", { bubbles: true }));
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
