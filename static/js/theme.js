/* Light or dark before the first paint: the reader's own choice, else what the system prefers.

   Loaded in the head without defer. Any button with data-theme-switch turns it over; the choice is kept
   in this browser. Charts listen for "themechange" on the document. */
(function () {
  "use strict";
  const KEY = "theme";
  const system = window.matchMedia("(prefers-color-scheme: dark)");

  function chosen() {
    try { return localStorage.getItem(KEY); } catch { return null; }
  }

  function apply() {
    const theme = chosen() || (system.matches ? "dark" : "light");
    if (document.documentElement.dataset.bsTheme === theme) return;
    document.documentElement.dataset.bsTheme = theme;
    document.dispatchEvent(new CustomEvent("themechange", { detail: theme }));
  }

  function label() {
    const dark = document.documentElement.dataset.bsTheme === "dark";
    for (const button of document.querySelectorAll("[data-theme-switch]")) button.setAttribute("aria-pressed", String(dark));
  }

  document.addEventListener("click", (event) => {
    if (!event.target.closest("[data-theme-switch]")) return;
    const turned = document.documentElement.dataset.bsTheme === "dark" ? "light" : "dark";
    // Back to what the system prefers means no choice of one's own is kept.
    try {
      if (turned === (system.matches ? "dark" : "light")) localStorage.removeItem(KEY);
      else localStorage.setItem(KEY, turned);
    } catch { /* a browser that keeps nothing still turns this page */ }
    document.documentElement.dataset.bsTheme = turned;
    document.dispatchEvent(new CustomEvent("themechange", { detail: turned }));
    label();
  });
  system.addEventListener("change", () => { apply(); label(); });
  document.addEventListener("DOMContentLoaded", label);
  apply();
})();
