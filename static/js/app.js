/* What every page needs: the CSRF token for htmx, a log-in that ran out, one press one sending, plain words
   when a request fails. */

import { keepForReturn } from "./drafts.js";
import { element } from "./elements.js";

const meta = (name) => document.querySelector(`meta[name="${name}"]`)?.content || "";

document.addEventListener("htmx:configRequest", (event) => {
  event.detail.headers["X-CSRFToken"] = meta("csrf-token");
});

/* A part of the page was asked for and the log-in page came instead: log in with the whole page, come back here. */
function loggedOut(xhr) {
  const login = meta("login-url");
  if (xhr.status === 401) return true;
  if (!login || !xhr.responseURL) return false;
  const led = xhr.getResponseHeader("HX-Redirect") || xhr.responseURL;
  return new URL(led, location.href).pathname === login && location.pathname !== login;
}

document.addEventListener("htmx:beforeOnLoad", (event) => {
  if (!loggedOut(event.detail.xhr)) return;
  event.preventDefault();
  keepForReturn(true);
  const here = location.pathname + location.search;
  location.assign(`${meta("login-url")}?next=${encodeURIComponent(here)}`);
});

/* A form shown again with what has to be put right is answered with 422: it belongs on the page. */
document.addEventListener("htmx:beforeSwap", (event) => {
  if (event.detail.xhr.status !== 422) return;
  event.detail.shouldSwap = true;
  event.detail.isError = false;
});

function say(text) {
  const place = document.getElementById("messages");
  if (!place) return;
  place.replaceChildren(element("ul", { class: "messages" }, element("li", { class: "error" }, text)));
  place.scrollIntoView({ block: "nearest" });
}

document.addEventListener("htmx:sendError", () => say("Not sent: the shop's server was not reached. What you typed is still here; try again."));
document.addEventListener("htmx:timeout", () => say("No answer in time. It is not known whether it was saved: reload the page to see."));
document.addEventListener("htmx:responseError", (event) => {
  const status = event.detail.xhr.status;
  if (status === 403) say("Refused: this page was open too long, or your role may not do this. Reload the page and try again.");
  else if (status === 413) say("Refused: what was sent is too large.");
  else if (status >= 500) say("Something went wrong on the server; nothing was changed on this page. Try again.");
  else say("The server could not act on this. Reload the page and try again.");
});

/* One press, one sending. The buttons rest until the page is shown again or the answer is there; a button's own
   value still goes along, since they are switched off after the browser has gathered the fields. */
const RESTS_MS = 15000;

function buttons(form) {
  return [...form.elements].filter((field) => field.type === "submit");
}

function wake(form) {
  for (const button of buttons(form)) if (button.dataset.resting) { button.disabled = false; delete button.dataset.resting; }
}

function rest(form) {
  if ("keepEnabled" in form.dataset) return;
  for (const button of buttons(form)) if (!button.disabled) { button.disabled = true; button.dataset.resting = "1"; }
  setTimeout(() => wake(form), RESTS_MS);
}

document.addEventListener("submit", (event) => {
  const form = event.target;
  if (event.defaultPrevented || form.method !== "post") return;
  if (form.dataset.sending) { event.preventDefault(); return; }
  form.dataset.sending = "1";
  setTimeout(() => { rest(form); delete form.dataset.sending; }, 0);
});
// Only a press of Save rests them: a field that asks for something as it is left would swallow the press that left it.
document.addEventListener("htmx:beforeRequest", (event) => {
  if (event.target.matches("form") && event.detail.requestConfig.triggeringEvent?.type === "submit") rest(event.target);
});
document.addEventListener("htmx:afterRequest", (event) => { if (event.target.matches("form")) wake(event.target); });
window.addEventListener("pageshow", () => document.querySelectorAll("form").forEach(wake));

/* A part of the page comes anew while somebody is at it: what was typed there since it was asked for, and the one
   of several that was chosen by hand, stand in the new part as well. */
const asked = new WeakMap();
const fieldsIn = (part) => [...part.querySelectorAll("input[name]:not([type=hidden]), select[name], textarea[name]")];
const picked = (field) => ["radio", "checkbox"].includes(field.type);
const stands = (field) => (picked(field) ? field.checked : field.value);

document.addEventListener("change", (event) => { if (event.isTrusted && event.target.type === "radio") event.target.byHand = true; });
document.addEventListener("htmx:beforeRequest", ({ detail: { xhr, target } }) => {
  asked.set(xhr, new Map(fieldsIn(target).map((field) => [field, stands(field)])));
});
document.addEventListener("htmx:beforeSwap", ({ detail: { xhr, target } }) => {
  const before = asked.get(xhr);
  const altered = (field) => (field.type === "radio" ? field.byHand && field.checked : before?.has(field) && before.get(field) !== stands(field));
  asked.set(xhr, fieldsIn(target).filter(altered));
});
document.addEventListener("htmx:afterSwap", ({ detail: { xhr, target } }) => {
  const part = document.getElementById(target.id);
  for (const old of (part && asked.get(xhr)) || []) {
    const field = fieldsIn(part).find((each) => each.name === old.name && (!picked(old) || each.value === old.value));
    if (!field) continue;
    field.byHand = old.byHand;
    if (stands(field) === stands(old)) continue;
    if (picked(field)) field.checked = old.checked;
    else field.value = old.value;
    field.dispatchEvent(new Event("change", { bubbles: true }));
  }
});

function focusFirst(root) {
  const wanted = root.matches?.("[data-focus-on-load]") ? root : root.querySelector?.("[data-focus-on-load]");
  wanted?.focus();
}
document.addEventListener("htmx:load", (event) => focusFirst(event.target));
focusFirst(document);
