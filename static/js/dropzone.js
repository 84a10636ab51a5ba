/* Upload of several files, one request each, with progress and a result by name.

   <form data-dropzone method="post" action="..." enctype="multipart/form-data">
     <div class="dropzone"> <label>... <input type="file" name="file" multiple> </div>
     <ul class="dropzone-files" aria-live="polite"></ul>
     <button type="submit">           sends the chosen files; without this script it is a plain upload

   The form's other fields are sent with each file. The server answers each request with JSON:
   {"ok": true, "message": "Read: 5 channels, 3412 rows", "url": "/..."}  or  {"ok": false, "message": "Line 14: ..."}.
   Files are sent one after the other, so that ten do not share a slow line. Refused files stay in the list; data-done-url,
   if given, opens once all files are accepted. */

import { element } from "./elements.js";

function addRow(list, name) {
  const bar = element("progress", { max: 1, value: 0, "aria-label": `${name}: sent` });
  const result = element("span", { class: "file-result soft" }, "waiting");
  const item = element("li", {}, element("span", { class: "file-name" }, name), bar, result);
  list.append(item);
  return { item, bar, result };
}

function showResult(row, answer) {
  row.bar.value = answer.ok ? 1 : row.bar.value;
  row.item.classList.toggle("is-refused", !answer.ok);
  row.result.className = "file-result";
  row.result.textContent = answer.message;
  if (answer.url) {
    row.result.append(" ", element("a", { href: answer.url }, answer.ok ? "Open" : "Put right"));
  }
  return answer.ok;
}

function parseAnswer(xhr) {
  const login = document.querySelector("meta[name=login-url]")?.content;
  if (xhr.status === 401 || (login && xhr.responseURL && new URL(xhr.responseURL).pathname === login)) {
    return { ok: false, message: "Not sent: you were logged out. Log in and choose it again." };
  }
  try {
    const answer = JSON.parse(xhr.responseText);
    if (typeof answer.message === "string") return answer;
  } catch { /* not from our view: described below */ }
  if (xhr.status === 413) return { ok: false, message: "Refused: the file is too large." };
  return { ok: false, message: `Not attached: the server could not act on it (answer ${xhr.status}). Try again.` };
}

function send(form, input, file, row) {
  const body = new FormData(form);
  body.delete(input.name);
  body.append(input.name, file);
  // Each file is a submission of its own, so each needs its own key.
  if (body.has("form_key") && crypto.randomUUID) body.set("form_key", crypto.randomUUID());
  return new Promise((done) => {
    const xhr = new XMLHttpRequest();
    xhr.upload.addEventListener("progress", (event) => {
      if (!event.lengthComputable) return;
      row.bar.value = event.loaded / event.total;
      row.result.textContent = event.loaded < event.total ? `${Math.round((100 * event.loaded) / event.total)} % sent` : "sent, being read";
    });
    xhr.addEventListener("load", () => done(showResult(row, parseAnswer(xhr))));
    xhr.addEventListener("error", () => done(showResult(row, { ok: false, message: "Not sent: the shop's server was not reached. Choose it again when the network is back." })));
    xhr.open("POST", form.action);
    xhr.setRequestHeader("Accept", "application/json");
    xhr.setRequestHeader("X-Requested-With", "XMLHttpRequest");
    xhr.send(body);
  });
}

async function sendAll(form, input, files) {
  const list = form.querySelector(".dropzone-files");
  const rows = files.map((file) => [file, addRow(list, file.name)]);
  form.setAttribute("aria-busy", "true");
  let allOk = true;
  for (const [file, row] of rows) allOk = (await send(form, input, file, row)) && allOk;
  form.removeAttribute("aria-busy");
  input.value = "";
  if (allOk && form.dataset.doneUrl) location.assign(form.dataset.doneUrl);
}

function enable(form) {
  const zone = form.querySelector(".dropzone");
  const input = form.querySelector("input[type=file]");
  if (form.dropzoneWired || !zone || !input) return;
  form.dropzoneWired = true;
  const highlight = (on) => (event) => { event.preventDefault(); zone.classList.toggle("is-over", on); };
  zone.addEventListener("dragenter", highlight(true));
  zone.addEventListener("dragover", highlight(true));
  zone.addEventListener("dragleave", highlight(false));
  zone.addEventListener("drop", (event) => {
    highlight(false)(event);
    const files = [...event.dataTransfer.files];
    if (files.length) sendAll(form, input, files);
  });
  form.addEventListener("submit", (event) => {
    if (!input.files.length) return;
    event.preventDefault();
    sendAll(form, input, [...input.files]);
  });
}

function start() { document.querySelectorAll("form[data-dropzone]").forEach(enable); }
document.addEventListener("htmx:load", start);
start();
