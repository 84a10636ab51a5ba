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
(function () {
  "use strict";
  const NEAR = 1e-9; // 0.1 + 0.02 must still count as 0.12
  const WORDS = {
    below: "below range", above: "above range", "off-target": "in range, off target", "on-target": "on target",
    "in-range": "in range", "cannot-tell": "cannot tell", unreadable: "not a number",
  };

  const BOXES = "input[data-order-cylinder]";
  const MM_PER = { mm: 1, in: 25.4, '"': 25.4, inch: 25.4, thou: 0.0254 };
  const COMPLETE = { mm: /^\d*[.,]\d{2}$/, in: /^\d*[.,]\d{4}$/ };
  const MOST_NAMED = 3;
  const EXAMPLES = { mm: "0.10-0.12", in: "0.004-0.005" };

  const kept = (name) => { try { return localStorage.getItem(`bench-${name}`); } catch (refused) { return null; } };
  const keep = (name, value) => { try { localStorage.setItem(`bench-${name}`, value); } catch (refused) { /* chosen for this page only */ } };

  function unitOf(form) {
    return form?.elements.blades?.value || "mm";
  }

  /* Comma or point, digits only; NaN when it cannot be read. */
  function number(text) {
    const plain = text.trim().replace(",", ".");
    return /^(\d+\.?\d*|\.\d+)$/.test(plain) ? Number(plain) : NaN;
  }

  /* One figure in mm, or both ends of a bracket; NaN where a part cannot be read. */
  function figures(text, unit) {
    if (text.trim() === "") return [];
    const [, body, named] = /^(.*?)\s*(mm|in|inch|thou|")?\s*$/i.exec(text.trim());
    const factor = MM_PER[(named || unit).toLowerCase()];
    return body.split(/[-–/]/).map((part) => number(part) * factor);
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

  /* What stands in the boxes of a reading: no end, one, or both of a bracket, in mm. */
  function typed(reading) {
    const inputs = [...reading.querySelectorAll(BOXES)];
    return inputs.flatMap((input) => figures(input.value, unitOf(input.form)));
  }

  /* A closing clearance from two gaps: how much the opener's grows when the play is taken up. */
  function closing(reading, loaded) {
    const opener = document.querySelector(`[data-place="${reading.dataset.opener}"]`);
    const unloaded = opener ? typed(opener) : [];
    if (!unloaded.length || !loaded.length) return null;
    const ends = [loaded[0] - unloaded.at(-1), loaded.at(-1) - unloaded[0]];
    return loaded.length === 1 && unloaded.length === 1 ? [ends[0]] : ends;
  }

  function verdictOf(reading) {
    let all = typed(reading);
    if (all.some((value) => Number.isNaN(value)) || all.length > 2) return "unreadable";
    const form = reading.closest("form");
    if (all.length && reading.dataset.opener && form.elements.closing_as?.value === "loaded_gap") all = closing(reading, all) || [];
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
    const turn = `data-order-${form.querySelector("[data-bench-order]")?.value || "cylinder"}`;
    return [...form.querySelectorAll(BOXES)].filter((input) => !input.disabled && input.offsetParent !== null)
      .sort((a, b) => Number(a.getAttribute(turn)) - Number(b.getAttribute(turn)));
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
    if (empty && MM_PER[kept("blades")]) form.elements.blades.value = kept("blades");
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
})();
