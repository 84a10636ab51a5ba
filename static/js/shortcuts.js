/* Keyboard shortcuts of every page: "/", "?" and two letters after each other.

   <a href data-keys="g t">, <button data-keys="/">  in the dialog: a link is followed, the button goes to the search
   "shortcut" event of the document, detail "s"       a key of one page, acted on by its own script, which prevents the default
   <button data-shortcuts-open>                      opens the dialog

   They do nothing while someone types or holds Ctrl, Alt or Cmd, or while a dialog is open, and can be switched off in
   the dialog (WCAG 2.1.4); the browser stores that. */

const KEY = "shortcuts";
const PAUSE_MS = 1500; // between the two letters
const TYPED_IN = "input:not([type=checkbox], [type=radio], [type=button], [type=submit]), textarea, select, [contenteditable], [role=textbox], [role=grid]";

const dialog = document.getElementById("shortcuts");
const search = document.getElementById("bar-search");
let first = "", firstAt = 0;

function isOn() {
  try { return localStorage.getItem(KEY) !== "off"; } catch { return true; }
}

function open() {
  if (!dialog.open) dialog.showModal();
}

function goToSearch() {
  dialog.close();
  search.focus();
  search.select();
}

function act(keys) {
  if (keys === "?") { open(); return true; }
  if (keys === "/") { goToSearch(); return true; }
  const link = dialog.querySelector(`a[data-keys="${CSS.escape(keys)}"]`);
  if (link) { location.assign(link.href); return true; }
  return !document.dispatchEvent(new CustomEvent("shortcut", { detail: keys, cancelable: true }));
}

function onKey(event) {
  if (event.defaultPrevented || event.isComposing || event.repeat || event.ctrlKey || event.altKey || event.metaKey) return;
  if (!isOn() || event.target.closest?.(TYPED_IN) || document.querySelector("dialog[open]:modal")) return;
  const isSecond = first && event.timeStamp - firstAt < PAUSE_MS;
  const keys = isSecond ? `${first} ${event.key}` : event.key;
  first = "";
  if (act(keys)) { event.preventDefault(); return; }
  if (/^[a-z]$/.test(event.key) && dialog.querySelector(`a[data-keys^="${event.key} "]`)) { first = event.key; firstAt = event.timeStamp; }
}

if (dialog) {
  const box = document.getElementById("shortcuts-on");
  box.checked = isOn();
  box.addEventListener("change", () => {
    try {
      if (box.checked) localStorage.removeItem(KEY);
      else localStorage.setItem(KEY, "off");
    } catch { /* nothing can be stored: they stay on */ }
  });
  document.addEventListener("click", (event) => {
    if (event.target.closest("[data-shortcuts-open]")) open();
    else if (event.target.closest("button[data-keys]")) goToSearch();
  });
  document.addEventListener("keydown", onKey);
}
