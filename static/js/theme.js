/* Light or dark: the reader's choice, or else the preference of the system.

   The only script of ours that is no module: it has to run before the first paint, and a module runs after it. A button
   with data-theme-switch toggles the theme; the browser stores the choice. Charts listen for "themechange" on the document. */
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
    const chosenTheme = document.documentElement.dataset.bsTheme === "dark" ? "light" : "dark";
    // A choice that equals the preference of the system is not stored: it follows the system again.
    try {
      if (chosenTheme === (system.matches ? "dark" : "light")) localStorage.removeItem(KEY);
      else localStorage.setItem(KEY, chosenTheme);
    } catch { /* nothing can be stored: the choice lasts for this page */ }
    document.documentElement.dataset.bsTheme = chosenTheme;
    document.dispatchEvent(new CustomEvent("themechange", { detail: chosenTheme }));
    label();
  });
  system.addEventListener("change", () => { apply(); label(); });
  document.addEventListener("DOMContentLoaded", label);
  apply();
})();
