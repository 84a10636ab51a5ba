/* What Enter does while a form is filled in, the same for all of them.

   In a form that records something from more than one field, Enter goes to the next field, from the last one to the
   button: half filled it is not sent. Shift+Enter goes back; a line break in a textarea stays one. The button sends the
   form, and so does Ctrl+Enter (Cmd+Enter) from any field. A note beside the button says so once Enter was pressed.
   Searches (method get), a form with one field, and a form marked data-enter-sends (the log-in) are sent by Enter. */

const NO_FIELD = ["hidden", "submit", "button", "reset", "image"];
const TAKES_ENTER = "textarea, input[type=file]";

function fieldsIn(form) {
  return [...form.elements].filter((field) => field.matches("input, select, textarea") && !NO_FIELD.includes(field.type)
    && !field.disabled && field.checkVisibility());
}

const buttonOf = (form) => [...form.elements].find((each) => each.type === "submit" && !each.disabled);

function isLong(form) {
  if (form.method !== "post" || "enterSends" in form.dataset) return false;
  return new Set(fieldsIn(form).map((field) => field.name || field)).size > 1;
}

function moveOn(field, step) {
  const others = fieldsIn(field.form).filter((each) => each === field || each.type !== "radio" || each.name !== field.name);
  const next = others[others.indexOf(field) + step];
  if (next) next.focus();
  else if (step > 0) buttonOf(field.form)?.focus();
}

/* There before it is needed: a screen reader tells only what changes in a region that it knows. */
function noteOf(form) {
  const button = buttonOf(form);
  if (!form.enterNote && button) {
    form.enterNote = Object.assign(document.createElement("p"), { className: "enter-note", role: "status" });
    button.parentElement.before(form.enterNote);
  }
  return form.enterNote;
}

document.addEventListener("focusin", ({ target: field }) => {
  if (!field.form || !field.matches("input, select") || !isLong(field.form)) return;
  noteOf(field.form);
  field.enterKeyHint ||= "next";
});

// On the window, so that a page's own rule for a field (the bench) comes first.
window.addEventListener("keydown", (event) => {
  const field = event.target, form = field.form;
  if (event.key !== "Enter" || event.defaultPrevented || event.isComposing || !form) return;
  if (event.ctrlKey || event.metaKey) {
    if (form.method !== "post" || field.matches("button")) return;
    event.preventDefault();
    if (!event.repeat) form.requestSubmit(buttonOf(form));
    return;
  }
  if (field.matches(TAKES_ENTER) || !isLong(form)) return;
  if (event.repeat) { event.preventDefault(); return; } // held down, it would run to the button and press it
  if (field.matches("button")) return;
  event.preventDefault();
  moveOn(field, event.shiftKey ? -1 : 1);
  const note = noteOf(form);
  if (note) note.textContent = `Enter goes to the next field. “${buttonOf(form).textContent.trim()}” or Ctrl+Enter submits the form.`;
});
