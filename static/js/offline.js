/* Without a network a page is read only, and says how old it is.

   <meta name="site-worker" content="ADDRESS">  the service worker that stores pages
   <meta name="stored-at" content="TIME">       put in by the worker: the page comes from its store
   <form data-draft>                            still works: drafts.js stores what is typed
   <form data-log-out>                          still works: the worker deletes the stored pages */

import { element } from "./elements.js";

const meta = (name) => document.querySelector(`meta[name="${name}"]`)?.content;
const worker = meta("site-worker");
const stored = meta("stored-at");
const loadedAt = new Date();
const WRITES = 'form[method="post"] button:not([type="button"]), form[method="post"] input[type="submit"], [hx-post]';
const STILL_WORKS = "form[data-draft], form[data-log-out]";

const loaded = new Promise((resolve) => {
  if (document.readyState === "complete") resolve();
  else window.addEventListener("load", resolve, { once: true });
});

if (worker && navigator.serviceWorker) {
  const isOlder = !navigator.serviceWorker.controller; // what the worker has of this page, if anything
  // What was loaded before the worker was in charge is stored by name, on any page: it may have started midway.
  Promise.all([navigator.serviceWorker.register(worker), navigator.serviceWorker.ready, loaded]).then(([, ready]) => {
    const parts = performance.getEntriesByType("resource").map((entry) => entry.name);
    ready.active.postMessage({ page: location.origin + location.pathname + location.search, parts, isOlder });
  }).catch(() => { /* drafts are still stored; only pages do not open without a network */ });
}

function formatTime(when) {
  const time = when.toLocaleTimeString("en-GB", { hour: "2-digit", minute: "2-digit" });
  if (when.toDateString() === new Date().toDateString()) return time;
  return `${when.toLocaleDateString("en-GB", { weekday: "short", day: "numeric", month: "short" })}, ${time}`;
}

function writes() {
  return [...document.querySelectorAll(WRITES)].filter((control) => !control.closest(STILL_WORKS) && !control.matches("form"));
}

function disableWrites() {
  for (const control of writes()) {
    if (control.disabled) continue;
    control.disabled = true;
    control.dataset.disabledOffline = "";
  }
}

function enableWrites() {
  for (const control of document.querySelectorAll("[data-disabled-offline]")) { control.disabled = false; delete control.dataset.disabledOffline; }
}

function showOffline() {
  document.documentElement.dataset.offline = "";
  disableWrites();
  const asOf = formatTime(stored ? new Date(stored) : loadedAt);
  const isOff = document.querySelector("[data-disabled-offline]") ? " You can read it. The buttons that save are disabled until you are back online." : "";
  const keepsDrafts = document.querySelector("main form[data-draft]") ? " What you type in a form is stored in this browser as a draft." : "";
  const text = `You are offline. This page is as of ${asOf}.${isOff}${keepsDrafts}`;
  showBar(text);
}

function showBar(text) {
  document.querySelector(".offline-bar")?.remove();
  const reload = element("button", { type: "button", class: "btn btn-quiet" }, "Reload");
  reload.addEventListener("click", () => location.reload());
  const bar = element("div", { class: "offline-bar", role: "status" }, element("span", {}, text), reload);
  document.querySelector(".bar")?.after(bar);
}

function showOnline() {
  if (stored) { showBar("Back online. Reload the page to see it as it is now."); return; }
  delete document.documentElement.dataset.offline;
  enableWrites();
  document.querySelector(".offline-bar")?.remove();
}

if (worker) {
  window.addEventListener("offline", showOffline);
  window.addEventListener("online", showOnline);
  document.addEventListener("htmx:load", () => { if ("offline" in document.documentElement.dataset) disableWrites(); });
  if (stored || !navigator.onLine) showOffline();
}
