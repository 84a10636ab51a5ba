/* Below each date of a form: the same date with its weekday, as all pages write dates. The field itself follows the
   language of the browser, where 3/12 may be March or December. A time is repeated only if the browser uses am and pm. */

import { element } from "./elements.js";

const DAYS = ["Sun", "Mon", "Tue", "Wed", "Thu", "Fri", "Sat"];
const MONTHS = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];
const usesAmPm = ["h11", "h12"].includes(new Intl.DateTimeFormat([], { hour: "numeric" }).resolvedOptions().hourCycle);
const FIELDS = `input[type=date], input[type=datetime-local]${usesAmPm ? ", input[type=time]" : ""}`;

function formatDate(value) {
  const [day, time] = value.includes("T") ? value.split("T") : [value, ""];
  const date = new Date(`${day}T00:00Z`);
  if (Number.isNaN(date.valueOf())) return value; // a time without a date, or nothing
  const text = `${DAYS[date.getUTCDay()]} ${date.getUTCDate()} ${MONTHS[date.getUTCMonth()]} ${date.getUTCFullYear()}`;
  return time ? `${text}, ${time.slice(0, 5)}` : text;
}

function show(field) {
  field.dateText ||= field.insertAdjacentElement("afterend", element("div", { class: "form-text date-text" }));
  field.dateText.textContent = formatDate(field.value);
}

function start(root) {
  for (const field of root.querySelectorAll(FIELDS)) if (field.form?.matches(".form")) show(field);
}

document.addEventListener("input", ({ target }) => { if (target.dateText) show(target); });
document.addEventListener("htmx:load", ({ target }) => start(target));
start(document);
