/* What is typed is not lost: kept in this browser at each input until the server says it has it.

   <form data-draft="KEY">        keeps its fields under KEY and shows when it last did so
   <form data-draft-resend="URL"> (beside data-draft) after a press of Save sends itself once the server answers at
                                  that address, even if the page was closed and opened again in between
   <form data-draft-by="NAME">    who types here: what another typed in this browser is only offered, never sent
   <form data-draft-answered>     the server has answered what was sent: what stands in the form is the draft now
   <meta name="draft-saved" content="KEY">, <li data-told="draft-saved KEY"> of a message, or a "draft-saved"
   event from the server (HX-Trigger: {"draft-saved": "KEY"}) say that KEY is saved: the draft is dropped.

   Hidden fields are kept as well, so that a draft put back still carries the version of the record it was typed
   against (the server then sees that someone else saved meanwhile) and the key of its sending (a second sending
   of the same words makes no second record). Once a word of it is altered it gets the fresh key of the page.
   Passwords, files and the CSRF token are never kept. */

import { element } from "./elements.js";

const PREFIX = "draft:";
const RETURN = "typed-before-log-in";
const NEVER = /^(csrfmiddlewaretoken|.*-(TOTAL|INITIAL|MIN_NUM|MAX_NUM)_FORMS)$/;
const SENDING_KEY = "form_key";
const RETRY_MS = 5000;
const MOST_TRIES = 3;

function fields(form) {
  return [...form.elements].filter((field) => field.name && !NEVER.test(field.name)
    && !["password", "file", "submit", "button", "reset"].includes(field.type));
}

function collect(form) {
  const values = {};
  for (const field of fields(form)) {
    const list = (values[field.name] ||= []);
    if (field.type === "checkbox" || field.type === "radio") { if (field.checked) list.push(field.value); }
    else if (field.tagName === "SELECT" && field.multiple) list.push(...[...field.selectedOptions].map((option) => option.value));
    else list.push(field.value);
  }
  return values;
}

function hiddenNames(form) {
  return new Set(fields(form).filter((field) => field.type === "hidden").map((field) => field.name));
}

function typed(form, values) {
  const hidden = hiddenNames(form);
  return JSON.stringify(Object.entries(values).filter(([name, list]) => !hidden.has(name) && list.length).toSorted());
}

/* The names of the fields that were altered before this script ran. What the browser itself puts back into fields
   when a page is opened anew or gone back to was typed earlier and is kept, sent or thrown away since. */
function typedEarly(form) {
  if (performance.getEntriesByType("navigation")[0]?.type !== "navigate") return [];
  const asSent = document.createElement("form");
  asSent.append(...fields(form).map((field) => field.cloneNode(true)));
  asSent.reset();
  const sent = collect(asSent), hidden = hiddenNames(form);
  return Object.entries(collect(form)).filter(([name, list]) => !hidden.has(name) && list.join("\0") !== sent[name].join("\0")).map(([name]) => name);
}

/* Put values into the form; returns what found no field, as "name: value". */
function restore(form, values) {
  const left = [], key = form.elements[SENDING_KEY], fresh = key?.value;
  const named = Map.groupBy ? Map.groupBy(fields(form), (field) => field.name) : group(fields(form));
  for (const [name, list] of Object.entries(values)) {
    const found = named.get(name) || [];
    if (!found.length) { if (list.some(Boolean)) left.push(`${name}: ${list.join(", ")}`); continue; }
    if (list.some(Boolean)) found.forEach(unfold);
    found.forEach((field, at) => {
      if (field.type === "checkbox" || field.type === "radio") field.checked = list.includes(field.value);
      else if (field.tagName === "SELECT" && field.multiple) for (const option of field.options) option.selected = list.includes(option.value);
      else if (at < list.length) field.value = list[at];
    });
  }
  if (key && key.value !== fresh) {
    const alter = (event) => {
      if (!event.isTrusted) return;
      key.value = fresh;
      form.removeEventListener("input", alter, true);
    };
    form.addEventListener("input", alter, true); // before what is typed is kept
  }
  for (const field of fields(form)) if (field.type !== "hidden") field.dispatchEvent(new Event("input", { bubbles: true }));
  return left;
}

/* What is put back has to be seen. */
function unfold(field) {
  if (field.type === "hidden") return;
  for (let fold = field.closest("details"); fold; fold = fold.parentElement.closest("details")) fold.open = true;
}

function group(list) {
  const named = new Map();
  for (const field of list) named.set(field.name, [...(named.get(field.name) || []), field]);
  return named;
}

function read(key) {
  try { return JSON.parse(localStorage.getItem(PREFIX + key)); } catch { return null; }
}

function clock(at) {
  const when = new Date(at);
  const time = when.toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" });
  return when.toDateString() === new Date().toDateString() ? time : `${when.toLocaleDateString()} ${time}`;
}

function note(form, text, alarm) {
  let place = form.querySelector("[data-draft-note]");
  if (!place) {
    place = element("p", { "data-draft-note": "", role: "status" });
    form.append(place);
  }
  place.className = alarm ? "draft-note draft-offline" : "draft-note";
  place.textContent = text;
}

function keep(form) {
  const at = Date.now();
  const { draftBy: by } = form.dataset;
  const waiting = form.draftWaiting || false;
  let values = collect(form);
  // While an older draft still waits for an answer, only what was typed since goes over it.
  if (form.draftOffered) values = { ...form.draftOffered, ...Object.fromEntries([...form.draftTouched].map((name) => [name, values[name] || []])) };
  try {
    localStorage.setItem(PREFIX + form.dataset.draft, JSON.stringify({ at, values, by, waiting, tries: form.draftTries || 0 }));
    note(form, `Kept in this browser, not yet sent (${clock(at)}).`);
  } catch {
    note(form, "This browser cannot keep what is typed. Save before leaving the page.", true);
  }
}

function forget(key) {
  try { localStorage.removeItem(PREFIX + key); } catch { /* nothing was kept */ }
  for (const form of document.querySelectorAll("form[data-draft]")) if (form.dataset.draft === key) note(form, "Saved.");
}

function button(text, kind, act) {
  const made = element("button", { type: "button", class: `btn ${kind}` }, text);
  made.addEventListener("click", act);
  return made;
}

function offer(form, draft, touched) {
  form.draftOffered = draft.values;
  form.draftTouched = new Set(touched);
  const who = draft.by && draft.by !== form.dataset.draftBy ? ` by ${draft.by}` : "";
  const text = `Something typed here${who} at ${clock(draft.at)} was kept in this browser and not yet sent.`;
  const done = (message) => { form.draftOffered = null; box.remove(); note(form, message); };
  const back = button("Put back what was typed", "btn-primary", () => {
    const older = Object.entries(form.draftOffered).filter(([name]) => !form.draftTouched.has(name));
    const left = restore(form, Object.fromEntries(older));
    done(left.length ? `Put back, not yet sent. No field was found for: ${left.join("; ")}` : "Put back, not yet sent.");
    form.querySelector("input:not([type=hidden]), select, textarea")?.focus();
  });
  const away = button("Throw away", "", () => {
    const typedSince = form.draftTouched.size > 0;
    forget(form.dataset.draft);
    done("The kept draft was thrown away.");
    if (typedSince) keep(form);
  });
  const box = element("section", { class: "draft-offer", "aria-label": "Kept draft" },
    element("p", {}, text), element("div", { class: "actions" }, back, away));
  form.before(box);
}

function watch(form, early = []) {
  if (form.draftWatched) return;
  form.draftWatched = true;
  const draft = read(form.dataset.draft);
  if (form.draftPutBack) { /* it stands in the form and waits for Save */ }
  else if ("draftAnswered" in form.dataset && draft) keep(form);
  else if (draft?.waiting && draft.tries < MOST_TRIES && "draftResend" in form.dataset && draft.by === form.dataset.draftBy && !early.length) takeUp(form, draft);
  else if (draft && typed(form, draft.values) !== typed(form, collect(form))) offer(form, draft, early);
  else if (draft) note(form, `Kept in this browser, not yet sent (${clock(draft.at)}).`);
  else if (early.length) keep(form);
  form.addEventListener("input", (event) => {
    if (form.draftOffered && !event.isTrusted) return;
    form.draftTouched?.add(event.target.name);
    keep(form);
  });
}

/* Save was pressed and no answer came: put back what was typed and send it. After a few tries a person decides. */
function takeUp(form, draft) {
  restore(form, draft.values);
  form.draftWaiting = true;
  form.draftTries = draft.tries;
  if (draft.tries === 0) { sendWhenReached(form); return; }
  note(form, "Put back, not yet sent: no answer came. It will be sent again in a moment.", true);
  form.draftTimer = setTimeout(() => sendWhenReached(form), RETRY_MS);
}

async function reached(url) {
  if (!navigator.onLine) return false;
  try { return (await fetch(url, { cache: "no-store" })).ok; } catch { return false; }
}

async function sendWhenReached(form) {
  clearTimeout(form.draftTimer);
  if (await reached(form.dataset.draftResend)) {
    if (!form.draftWaiting) return;
    form.draftTries = (form.draftTries || 0) + 1;
    note(form, "The network is back. Sending what was kept.", true);
    form.requestSubmit();
    return;
  }
  note(form, "Not sent: no network. Kept in this browser; it will be sent when the network is back.", true);
  form.draftTimer = setTimeout(() => sendWhenReached(form), RETRY_MS);
}

/* Offline: say so at once and send nothing. Capturing, so that it comes before htmx. */
document.addEventListener("submit", (event) => {
  const form = event.target;
  if (navigator.onLine || !form.matches("form[data-draft]")) return;
  event.preventDefault();
  event.stopImmediatePropagation();
  form.draftWaiting = true;
  form.draftTries = 0;
  keep(form);
  if ("draftResend" in form.dataset) sendWhenReached(form);
  else note(form, "Not sent: no network. Kept in this browser; press Save again when the network is back.", true);
}, true);

/* On its way, and perhaps never to arrive: kept as waiting until the server has answered. */
document.addEventListener("submit", (event) => {
  const form = event.target;
  if (event.defaultPrevented || !form.matches("form[data-draft-resend]")) return;
  form.draftWaiting = true;
  keep(form);
});

window.addEventListener("online", () => {
  for (const form of document.querySelectorAll("form[data-draft]")) {
    if (!form.draftWaiting) continue;
    if ("draftResend" in form.dataset) { sendWhenReached(form); continue; }
    form.draftWaiting = false;
    note(form, "The network is back. Press Save to send what was kept.", true);
  }
});

/* The log-in ran out: the forms of the page are kept for this tab and put back after logging in again. They are
   noted at each sending, and that note counts only if the log-in page is what came instead of an answer. */
const LOGIN_PATH = document.querySelector("meta[name=login-url]")?.content;

export function keepForReturn(loggedOut) {
  if (location.pathname === LOGIN_PATH) return;
  const forms = [...document.querySelectorAll("main form")].map((form) => [identity(form), collect(form)]);
  try { sessionStorage.setItem(RETURN, JSON.stringify({ path: location.pathname, forms, loggedOut })); } catch { /* drafts still stand */ }
}

function identity(form) {
  return form.dataset.draft || form.id || form.getAttribute("action") || form.getAttribute("hx-post") || "";
}

function putBackAfterReturn() {
  let kept = null;
  try { kept = JSON.parse(sessionStorage.getItem(RETURN)); } catch { return; }
  if (!kept) return;
  if (location.pathname === LOGIN_PATH) { sessionStorage.setItem(RETURN, JSON.stringify({ ...kept, loggedOut: true })); return; }
  if (kept.loggedOut && kept.path !== location.pathname) return;
  sessionStorage.removeItem(RETURN);
  if (!kept.loggedOut) return;
  for (const form of document.querySelectorAll("main form")) {
    const values = kept.forms.find(([name]) => name === identity(form))?.[1];
    if (!values || typed(form, values) === typed(form, collect(form))) continue;
    restore(form, values);
    form.draftPutBack = true;
    note(form, "You were logged out. What was typed has been put back and is not yet sent.", true);
  }
}

function start() {
  const told = [...document.querySelectorAll("[data-told^='draft-saved ']")].map((item) => item.dataset.told.slice(12));
  const meta = [...document.querySelectorAll("meta[name=draft-saved]")].map((item) => item.content);
  [...told, ...meta].forEach(forget);
  putBackAfterReturn();
  for (const form of document.querySelectorAll("form[data-draft]")) watch(form, typedEarly(form));
}

document.addEventListener("submit", (event) => { if (event.target.method === "post") keepForReturn(false); });
document.addEventListener("draft-saved", (event) => forget(event.detail.value ?? event.detail));
document.addEventListener("htmx:load", () => document.querySelectorAll("form[data-draft]").forEach((form) => watch(form)));
start();
