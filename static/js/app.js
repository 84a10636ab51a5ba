/* What every page needs: the CSRF token for htmx, the way back after a login expired, forms that are sent once,
   and a message when a request fails. */

import { keepForLogin } from "./drafts.js";
import { element } from "./elements.js";

const meta = (name) => document.querySelector(`meta[name="${name}"]`)?.content || "";

document.addEventListener("htmx:configRequest", (event) => {
  event.detail.headers["X-CSRFToken"] = meta("csrf-token");
});

/* Instead of a part of the page the login page came: log in on the whole page, then come back here. */
function sessionExpired(xhr) {
  const login = meta("login-url");
  if (xhr.status === 401) return true;
  if (!login || !xhr.responseURL) return false;
  const address = xhr.getResponseHeader("HX-Redirect") || xhr.responseURL;
  return new URL(address, location.href).pathname === login && location.pathname !== login;
}

document.addEventListener("htmx:beforeOnLoad", (event) => {
  if (!sessionExpired(event.detail.xhr)) return;
  event.preventDefault();
  keepForLogin(true);
  const here = location.pathname + location.search;
  location.assign(`${meta("login-url")}?next=${encodeURIComponent(here)}`);
});

/* A form with errors is answered with 422: it belongs on the page. */
document.addEventListener("htmx:beforeSwap", (event) => {
  if (event.detail.xhr.status !== 422) return;
  event.detail.shouldSwap = true;
  event.detail.isError = false;
});

function showError(text) {
  const place = document.getElementById("messages");
  if (!place) return;
  place.replaceChildren(element("ul", { class: "messages" }, element("li", { class: "error" }, text)));
  place.scrollIntoView({ block: "nearest" });
}

document.addEventListener("htmx:sendError", () => showError("Not saved: no connection to the server. Your entries are still here. Try again."));
document.addEventListener("htmx:timeout", () => showError("The server did not answer in time, so it may or may not have been saved. Reload the page to check."));
document.addEventListener("htmx:responseError", (event) => {
  const status = event.detail.xhr.status;
  if (status === 403) showError("Not saved: this page was open too long, or your role does not allow this. Reload the page and try again.");
  else if (status === 413) showError("Not saved: the file is too large.");
  else if (status >= 500) showError("Something went wrong on the server. This page is unchanged. Try again.");
  else showError("The server could not process this. Reload the page and try again.");
});

/* A form is sent once, however often the button is pressed. Its buttons are disabled only after the browser has
   collected the fields, so that the value of the pressed button is sent too. */
const DISABLED_MS = 15000;

function buttons(form) {
  return [...form.elements].filter((field) => field.type === "submit");
}

function enableButtons(form) {
  for (const button of buttons(form)) if (button.dataset.disabledOnSend) { button.disabled = false; delete button.dataset.disabledOnSend; }
}

function disableButtons(form) {
  if ("keepEnabled" in form.dataset) return;
  for (const button of buttons(form)) if (!button.disabled) { button.disabled = true; button.dataset.disabledOnSend = "1"; }
  setTimeout(() => enableButtons(form), DISABLED_MS);
}

document.addEventListener("submit", (event) => {
  const form = event.target;
  if (event.defaultPrevented || form.method !== "post") return;
  if (form.dataset.sent) { event.preventDefault(); return; }
  form.dataset.sent = "1";
  setTimeout(() => { disableButtons(form); delete form.dataset.sent; }, 0);
});
// Not for requests of a single field: one sent as the field is left would swallow the press that left it.
document.addEventListener("htmx:beforeRequest", (event) => {
  if (event.target.matches("form") && event.detail.requestConfig.triggeringEvent?.type === "submit") disableButtons(event.target);
});
document.addEventListener("htmx:afterRequest", (event) => { if (event.target.matches("form")) enableButtons(event.target); });
window.addEventListener("pageshow", () => document.querySelectorAll("form").forEach(enableButtons));

/* A part of the page is replaced while someone works in it: what was typed since the request, and a radio button
   chosen by hand, are carried over into the new part. */
const snapshots = new WeakMap();
const fieldsIn = (part) => [...part.querySelectorAll("input[name]:not([type=hidden]), select[name], textarea[name]")];
const isToggle = (field) => ["radio", "checkbox"].includes(field.type);
const valueOf = (field) => (isToggle(field) ? field.checked : field.value);

document.addEventListener("change", (event) => { if (event.isTrusted && event.target.type === "radio") event.target.chosenByHand = true; });
document.addEventListener("htmx:beforeRequest", ({ detail: { xhr, target } }) => {
  snapshots.set(xhr, new Map(fieldsIn(target).map((field) => [field, valueOf(field)])));
});
document.addEventListener("htmx:beforeSwap", ({ detail: { xhr, target } }) => {
  const before = snapshots.get(xhr);
  const isEdited = (field) => (field.type === "radio" ? field.chosenByHand && field.checked : before?.has(field) && before.get(field) !== valueOf(field));
  snapshots.set(xhr, fieldsIn(target).filter(isEdited));
});
document.addEventListener("htmx:afterSwap", ({ detail: { xhr, target } }) => {
  const part = document.getElementById(target.id);
  for (const old of (part && snapshots.get(xhr)) || []) {
    const field = fieldsIn(part).find((each) => each.name === old.name && (!isToggle(old) || each.value === old.value));
    if (!field) continue;
    field.chosenByHand = old.chosenByHand;
    if (valueOf(field) === valueOf(old)) continue;
    if (isToggle(field)) field.checked = old.checked;
    else field.value = old.value;
    field.dispatchEvent(new Event("change", { bubbles: true }));
  }
});

function focusFirst(root) {
  const first = root.matches?.("[data-focus-on-load]") ? root : root.querySelector?.("[data-focus-on-load]");
  first?.focus();
  return Boolean(first);
}
document.addEventListener("htmx:load", (event) => focusFirst(event.target));

/* Where typing begins on a page whose purpose is a form: its first field, or the first one with a problem. Not if
   something above the form has to be read first (a caution, a draft, a message), if the page was reached by "Back" or by
   a link to one of its parts, or on a touch screen, whose keyboard would cover the page. */
const READ_LATER = "h1, .page-note";
const CAN_TYPE = "input:not([type=hidden], [readonly]), select, textarea";
const canTakeFocus = (field) => !field.disabled && field.checkVisibility();

function focusForm() {
  const form = document.querySelector(".form-page > h1 ~ form.form");
  const problems = document.querySelector("main .form-errors[tabindex]");
  if (problems) {
    const wrong = [...(problems.closest("form")?.querySelectorAll("[aria-invalid=true], .is-invalid") ?? [])].find(canTakeFocus);
    (wrong || problems).focus();
    return;
  }
  if (!form || location.hash || document.activeElement !== document.body || matchMedia("(pointer: coarse)").matches) return;
  if (performance.getEntriesByType("navigation")[0]?.type !== "navigate" || document.querySelector("#messages li")) return;
  for (let above = form.previousElementSibling; above; above = above.previousElementSibling) if (!above.matches(READ_LATER)) return;
  [...form.querySelectorAll(CAN_TYPE)].find(canTakeFocus)?.focus();
}
if (!focusFirst(document)) focusForm();

/* Where a menu is a strip, the current page is in sight. */
for (const here of document.querySelectorAll(".rail [aria-current]")) here.closest(".rail").scrollLeft = here.offsetLeft - 48;
