/* Drafts: the browser stores a form at each input until the server confirms that it is saved.

   <form data-draft="KEY">        stores its fields under KEY and shows when it last did so
   <form data-draft-resend="URL"> (with data-draft) sends itself after Save once the server answers at that address,
                                  even if the page was closed and opened again in between
   <form data-log-out>            logs out: deletes the drafts of this account, and asks first if there are any
   <meta name="account">          who is logged in: a draft belongs to this account and is never shown to another
   <form data-draft-answered>     the server answered with errors: the form as shown is the draft now
   <meta name="draft-saved" content="KEY">, <li data-told="draft-saved KEY"> of a message, or a "draft-saved"
   event from the server (HX-Trigger: {"draft-saved": "KEY"}) say that KEY is saved: the draft is dropped.

   Hidden fields are stored too: the version of the record, so that the server notices if someone else saved in the
   meantime, and the form key, so that the same draft sent twice makes one record. Once a restored draft is edited it
   gets the new key of the page. Passwords, files and the CSRF token are never stored. */

import { element } from "./elements.js";

const ACCOUNT = document.querySelector("meta[name=account]")?.content || "";
const PREFIX = `draft:${ACCOUNT}:`;
const OWNED = /^draft:\d+:/;
const RETURN_KEY = "typed-before-log-in";
const NEVER_STORED = /^(csrfmiddlewaretoken|.*-(TOTAL|INITIAL|MIN_NUM|MAX_NUM)_FORMS)$/;
const FORM_KEY = "form_key";
const RETRY_MS = 5000;
const MAX_TRIES = 3;

function fields(form) {
  return [...form.elements].filter((field) => field.name && !NEVER_STORED.test(field.name)
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

function visibleValues(form, values) {
  const hidden = hiddenNames(form);
  return JSON.stringify(Object.entries(values).filter(([name, list]) => !hidden.has(name) && list.length).toSorted());
}

/* The names of the fields that were edited before this script ran. After a reload or a step back the browser fills in
   what was typed earlier, which has been stored, sent or discarded since, so that does not count. */
function editedBeforeLoad(form) {
  if (performance.getEntriesByType("navigation")[0]?.type !== "navigate") return [];
  const asSent = document.createElement("form");
  asSent.append(...fields(form).map((field) => field.cloneNode(true)));
  asSent.reset();
  const sent = collect(asSent), hidden = hiddenNames(form);
  return Object.entries(collect(form)).filter(([name, list]) => !hidden.has(name) && list.join("\0") !== sent[name].join("\0")).map(([name]) => name);
}

/* Fill in values; return those without a field, as "name: value". */
function restore(form, values) {
  const unmatched = [], key = form.elements[FORM_KEY], fresh = key?.value;
  const named = Map.groupBy ? Map.groupBy(fields(form), (field) => field.name) : groupByName(fields(form));
  for (const [name, list] of Object.entries(values)) {
    const found = named.get(name) || [];
    if (!found.length) { if (list.some(Boolean)) unmatched.push(`${name}: ${list.join(", ")}`); continue; }
    if (list.some(Boolean)) found.forEach(openFolds);
    found.forEach((field, at) => {
      if (field.type === "checkbox" || field.type === "radio") field.checked = list.includes(field.value);
      else if (field.tagName === "SELECT" && field.multiple) for (const option of field.options) option.selected = list.includes(option.value);
      else if (at < list.length) field.value = list[at];
    });
  }
  if (key && key.value !== fresh) {
    const renewKey = (event) => {
      if (!event.isTrusted) return;
      key.value = fresh;
      form.removeEventListener("input", renewKey, true);
    };
    form.addEventListener("input", renewKey, true); // captured, so that the draft is stored with the new key
  }
  for (const field of fields(form)) if (field.type !== "hidden") field.dispatchEvent(new Event("input", { bubbles: true }));
  return unmatched;
}

/* What is restored must be visible. */
function openFolds(field) {
  if (field.type === "hidden") return;
  for (let fold = field.closest("details"); fold; fold = fold.parentElement.closest("details")) fold.open = true;
}

function groupByName(list) {
  const named = new Map();
  for (const field of list) named.set(field.name, [...(named.get(field.name) || []), field]);
  return named;
}

function draftKeys() {
  try { return Object.keys(localStorage).filter((key) => key.startsWith("draft:")); } catch { return []; }
}

function deleteDrafts(isMeant) {
  for (const key of draftKeys()) if (isMeant(key)) localStorage.removeItem(key);
}

function readDraft(key) {
  try { return JSON.parse(localStorage.getItem(PREFIX + key)); } catch { return null; }
}

function formatTime(at) {
  const when = new Date(at);
  const time = when.toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" });
  return when.toDateString() === new Date().toDateString() ? time : `${when.toLocaleDateString()} ${time}`;
}

function showNote(form, text, alarm) {
  let place = form.querySelector("[data-draft-note]");
  if (!place) {
    place = element("p", { "data-draft-note": "", role: "status" });
    (form.querySelector(".sticky-actions") || form).append(place);
  }
  place.className = alarm ? "draft-note draft-offline" : "draft-note";
  place.textContent = text;
}

function saveDraft(form) {
  const at = Date.now();
  const waiting = form.draftWaiting || false;
  let values = collect(form);
  // Until the person has decided about an older draft, only the fields typed in since replace its values.
  if (form.draftOffered) values = { ...form.draftOffered, ...Object.fromEntries([...form.draftTouched].map((name) => [name, values[name] || []])) };
  try {
    localStorage.setItem(PREFIX + form.dataset.draft, JSON.stringify({ at, values, waiting, tries: form.draftTries || 0 }));
    showNote(form, `Draft saved in this browser at ${formatTime(at)}. Form not saved yet.`);
  } catch {
    showNote(form, "This browser cannot store drafts. Save before you leave the page.", true);
  }
}

function dropDraft(key) {
  try { localStorage.removeItem(PREFIX + key); } catch { /* nothing was stored */ }
  for (const form of document.querySelectorAll("form[data-draft]")) if (form.dataset.draft === key) showNote(form, "Saved.");
}

function button(text, kind, act) {
  const made = element("button", { type: "button", class: `btn ${kind}` }, text);
  made.addEventListener("click", act);
  return made;
}

function offerDraft(form, draft, touched) {
  form.draftOffered = draft.values;
  form.draftTouched = new Set(touched);
  const text = `This browser has an unsaved draft of this form from ${formatTime(draft.at)}.`;
  const done = (message) => { form.draftOffered = null; box.remove(); showNote(form, message); };
  const back = button("Restore draft", "btn-primary", () => {
    const older = Object.entries(form.draftOffered).filter(([name]) => !form.draftTouched.has(name));
    const unmatched = restore(form, Object.fromEntries(older));
    done(unmatched.length ? `Draft restored. Not saved yet. These entries no longer have a field: ${unmatched.join("; ")}` : "Draft restored. Not saved yet.");
    form.querySelector("input:not([type=hidden]), select, textarea")?.focus();
  });
  const away = button("Delete draft", "", () => {
    const typedSince = form.draftTouched.size > 0;
    dropDraft(form.dataset.draft);
    done("Draft deleted.");
    if (typedSince) saveDraft(form);
  });
  const box = element("section", { class: "draft-offer", "aria-label": "Unsaved draft" },
    element("p", {}, text), element("div", { class: "actions" }, back, away));
  form.before(box);
}

function watch(form, early = []) {
  if (form.draftWatched) return;
  form.draftWatched = true;
  const draft = readDraft(form.dataset.draft);
  if (form.draftRestored) { /* the form holds it and waits for Save */ }
  else if ("draftAnswered" in form.dataset && draft) saveDraft(form);
  else if (draft?.waiting && draft.tries < MAX_TRIES && "draftResend" in form.dataset && !early.length) resumeSending(form, draft);
  else if (draft && visibleValues(form, draft.values) !== visibleValues(form, collect(form))) offerDraft(form, draft, early);
  else if (draft) showNote(form, `Draft saved in this browser at ${formatTime(draft.at)}. Form not saved yet.`);
  else if (early.length) saveDraft(form);
  form.addEventListener("input", (event) => {
    if (form.draftOffered && !event.isTrusted) return;
    form.draftTouched?.add(event.target.name);
    saveDraft(form);
  });
}

/* Save was pressed and no answer came: restore the draft and send it. After a few tries a person decides. */
function resumeSending(form, draft) {
  restore(form, draft.values);
  form.draftWaiting = true;
  form.draftTries = draft.tries;
  if (draft.tries === 0) { sendWhenOnline(form); return; }
  showNote(form, "Draft restored, not saved yet. The server did not answer. The form is sent again in a moment.", true);
  form.draftTimer = setTimeout(() => sendWhenOnline(form), RETRY_MS);
}

async function isReachable(url) {
  if (!navigator.onLine) return false;
  try { return (await fetch(url, { cache: "no-store" })).ok; } catch { return false; }
}

async function sendWhenOnline(form) {
  clearTimeout(form.draftTimer);
  if (await isReachable(form.dataset.draftResend)) {
    if (!form.draftWaiting) return;
    form.draftTries = (form.draftTries || 0) + 1;
    showNote(form, "Back online. Sending your draft.", true);
    form.requestSubmit();
    return;
  }
  showNote(form, "You are offline. Draft saved in this browser. It is sent when you are back online.", true);
  form.draftTimer = setTimeout(() => sendWhenOnline(form), RETRY_MS);
}

/* Offline: say so at once and send nothing. Captured, so that it runs before htmx. */
document.addEventListener("submit", (event) => {
  const form = event.target;
  if (navigator.onLine || !form.matches("form[data-draft]")) return;
  event.preventDefault();
  event.stopImmediatePropagation();
  form.draftWaiting = true;
  form.draftTries = 0;
  saveDraft(form);
  if ("draftResend" in form.dataset) sendWhenOnline(form);
  else showNote(form, "You are offline. Draft saved in this browser. Press Save again when you are back online.", true);
}, true);

/* It may never arrive: stored as waiting until the server has answered. */
document.addEventListener("submit", (event) => {
  const form = event.target;
  if (event.defaultPrevented || !form.matches("form[data-draft-resend]")) return;
  form.draftWaiting = true;
  saveDraft(form);
});

window.addEventListener("online", () => {
  for (const form of document.querySelectorAll("form[data-draft]")) {
    if (!form.draftWaiting) continue;
    if ("draftResend" in form.dataset) { sendWhenOnline(form); continue; }
    form.draftWaiting = false;
    showNote(form, "Back online. Press Save to send your draft.", true);
  }
});

/* After a login expired the forms of the page are restored once the person has logged in again. They are stored for
   this tab at each submit, and used only if the login page came instead of an answer. */
const LOGIN_PATH = document.querySelector("meta[name=login-url]")?.content;

export function keepForLogin(loggedOut) {
  if (location.pathname === LOGIN_PATH) return;
  const forms = [...document.querySelectorAll("main form")].map((form) => [keyOf(form), collect(form)]);
  try { sessionStorage.setItem(RETURN_KEY, JSON.stringify({ path: location.pathname, account: ACCOUNT, forms, loggedOut })); } catch { /* the drafts are still stored */ }
}

function keyOf(form) {
  return form.dataset.draft || form.id || form.getAttribute("action") || form.getAttribute("hx-post") || "";
}

function restoreAfterLogin() {
  let kept = null;
  try { kept = JSON.parse(sessionStorage.getItem(RETURN_KEY)); } catch { return; }
  if (!kept) return;
  if (location.pathname === LOGIN_PATH) { sessionStorage.setItem(RETURN_KEY, JSON.stringify({ ...kept, loggedOut: true })); return; }
  if (kept.loggedOut && kept.path !== location.pathname) return;
  sessionStorage.removeItem(RETURN_KEY);
  if (!kept.loggedOut || kept.account !== ACCOUNT) return;
  for (const form of document.querySelectorAll("main form")) {
    const values = kept.forms.find(([name]) => name === keyOf(form))?.[1];
    if (!values || visibleValues(form, values) === visibleValues(form, collect(form))) continue;
    restore(form, values);
    form.draftRestored = true;
    showNote(form, "You were logged out. Your draft is restored but not saved yet.", true);
  }
}

function start() {
  deleteDrafts((key) => !OWNED.test(key)); // of an earlier version, which did not note whose they were
  const told = [...document.querySelectorAll("[data-told^='draft-saved ']")].map((item) => item.dataset.told.slice(12));
  const meta = [...document.querySelectorAll("meta[name=draft-saved]")].map((item) => item.content);
  [...told, ...meta].forEach(dropDraft);
  restoreAfterLogin();
  for (const form of document.querySelectorAll("form[data-draft]")) watch(form, editedBeforeLoad(form));
}

/* Nothing that was typed stays in the browser for whoever comes next. */
document.addEventListener("submit", (event) => {
  const form = event.target;
  if (!form.matches("form[data-log-out]") || !navigator.onLine) return;
  const unsent = draftKeys().filter((key) => key.startsWith(PREFIX)).length;
  if (unsent && !form.draftsGivenUp) {
    event.preventDefault();
    event.stopImmediatePropagation();
    askBeforeLogOut(form, unsent);
    return;
  }
  deleteDrafts((key) => key.startsWith(PREFIX));
  sessionStorage.removeItem(RETURN_KEY);
}, true);

function askBeforeLogOut(form, unsent) {
  document.querySelector("[data-log-out-question]")?.remove();
  const text = unsent === 1 ? "One draft in this browser is not saved yet. Logging out deletes it."
    : `${unsent} drafts in this browser are not saved yet. Logging out deletes them.`;
  const leave = button("Log out and delete", "btn-outline-danger", () => { form.draftsGivenUp = true; form.requestSubmit(); });
  const box = element("section", { class: "draft-offer", "aria-label": "Before you log out", "data-log-out-question": "" },
    element("p", { role: "alert" }, text), element("div", { class: "actions" }, leave, button("Stay", "", () => box.remove())));
  document.getElementById("main").prepend(box);
  box.scrollIntoView({ block: "nearest" });
  leave.focus();
}

document.addEventListener("submit", (event) => {
  if (event.target.method === "post" && !event.target.matches("form[data-log-out]")) keepForLogin(false);
});
document.addEventListener("draft-saved", (event) => dropDraft(event.detail.value ?? event.detail));
document.addEventListener("htmx:load", () => document.querySelectorAll("form[data-draft]").forEach((form) => watch(form)));
start();
