/* Upload of several files, one request each, with progress and a result by name.

   <form data-dropzone method="post" action="..." enctype="multipart/form-data">
     <div class="dropzone"> <label>... <input type="file" name="file" multiple> </div>
     <ul class="dropzone-files" aria-live="polite"></ul>
     <button type="submit">           sends the chosen files; without this script it is a plain upload

   The form's other fields are sent with each file. The server answers each request with JSON:
   {"ok": true, "message": "Read: 5 channels, 3412 rows", "url": "/..."}  or  {"ok": false, "message": "Line 14: ..."}.
   Files are sent one after the other, so that ten do not share a slow line. A file that was not stored stays chosen, so
   that it is sent again with the corrected form; data-done-url, if given, opens once all files are accepted.

   <ul class="dropzone-files" data-upload-url="..." data-upload-input="id_photos" aria-live="polite"></ul>

   inside a longer form sends the files of that input as soon as they are chosen, and nothing else of the form. Sending
   the form waits for them. */

import { element } from "./elements.js";

function addRow(list, name) {
  const bar = element("progress", { max: 1, value: 0, "aria-label": `${name}: upload` });
  const result = element("span", { class: "file-result soft" }, "waiting");
  const item = element("li", {}, element("span", { class: "file-name" }, name), bar, result);
  list.append(item);
  return { item, bar, result };
}

const busy = new WeakMap(); // a form, and the promise of the files on their way

function showResult(row, answer) {
  row.bar.value = answer.ok ? 1 : row.bar.value;
  row.item.classList.toggle("is-refused", !answer.ok);
  row.result.className = "file-result";
  row.result.textContent = answer.message;
  if (answer.url) {
    row.result.append(" ", element("a", { href: answer.url }, answer.ok ? "Open" : "Fix"));
  }
  return answer;
}

function keepChosen(input, refused) {
  const chosen = new DataTransfer();
  for (const [file, row] of refused) {
    chosen.items.add(file);
    row.item.dataset.kept = "";
    row.result.append(" The file is still chosen. Fix the form and upload it again.");
  }
  input.files = chosen.files;
}

function parseAnswer(xhr) {
  const login = document.querySelector("meta[name=login-url]")?.content;
  if (xhr.status === 401 || (login && xhr.responseURL && new URL(xhr.responseURL).pathname === login)) {
    return { ok: false, message: "Not uploaded: you were logged out. Log in and choose the file again." };
  }
  try {
    const answer = JSON.parse(xhr.responseText);
    if (typeof answer.message === "string") return answer;
  } catch { /* not from our view: described below */ }
  if (xhr.status === 413) return { ok: false, message: "Not uploaded: the file is too large." };
  return { ok: false, message: `Not uploaded: the server could not process the file (error ${xhr.status}). Try again.` };
}

function bodyWith(form, input, file, wholeForm) {
  const body = wholeForm ? new FormData(form) : new FormData();
  body.set("csrfmiddlewaretoken", form.elements.csrfmiddlewaretoken.value);
  body.delete(input.name);
  body.append(input.name, file);
  // Each file is a submission of its own, so each needs its own key.
  if (form.elements.form_key && crypto.randomUUID) body.set("form_key", crypto.randomUUID());
  return body;
}

function send(url, body, row) {
  return new Promise((done) => {
    const xhr = new XMLHttpRequest();
    xhr.upload.addEventListener("progress", (event) => {
      if (!event.lengthComputable) return;
      row.bar.value = event.loaded / event.total;
      row.result.textContent = event.loaded < event.total ? `${Math.round((100 * event.loaded) / event.total)} % uploaded` : "uploaded, reading";
    });
    xhr.addEventListener("load", () => done(showResult(row, parseAnswer(xhr))));
    xhr.addEventListener("error", () => done(showResult(row, { ok: false, message: "Not uploaded: no connection to the server. Choose the file again when you are back online." })));
    xhr.open("POST", url);
    xhr.setRequestHeader("Accept", "application/json");
    xhr.setRequestHeader("X-Requested-With", "XMLHttpRequest");
    xhr.send(body);
  });
}

async function sendAll(form, input, files, list, url) {
  const wholeForm = !list.dataset.uploadUrl;
  for (const item of list.querySelectorAll("[data-kept]")) item.remove();
  const rows = files.map((file) => [file, addRow(list, file.name)]);
  input.value = "";
  form.setAttribute("aria-busy", "true");
  let allOk = true;
  const refused = [];
  for (const [file, row] of rows) {
    const answer = await send(url, bodyWith(form, input, file, wholeForm), row);
    allOk = answer.ok && allOk;
    if (!answer.ok && !answer.url) refused.push([file, row]);
  }
  form.removeAttribute("aria-busy");
  if (wholeForm && refused.length) keepChosen(input, refused);
  if (wholeForm && allOk && form.dataset.doneUrl) location.assign(form.dataset.doneUrl);
}

function uploadWhenChosen(list) {
  const input = document.getElementById(list.dataset.uploadInput);
  const form = input?.form;
  if (!form || list.dropzoneWired) return;
  list.dropzoneWired = true;
  input.addEventListener("change", () => {
    const before = busy.get(form) ?? Promise.resolve();
    const files = [...input.files];
    const sent = before.then(() => sendAll(form, input, files, list, list.dataset.uploadUrl));
    busy.set(form, sent);
    sent.then(() => { if (busy.get(form) === sent) busy.delete(form); });
  });
  form.addEventListener("submit", async (event) => {
    const sent = busy.get(form);
    if (!sent) return;
    event.preventDefault();
    const button = event.submitter;
    await sent;
    form.requestSubmit(button);
  }, { capture: true });
}

function enable(form) {
  const zone = form.querySelector(".dropzone");
  const input = form.querySelector("input[type=file]");
  if (form.dropzoneWired || !zone || !input) return;
  form.dropzoneWired = true;
  const list = form.querySelector(".dropzone-files");
  const highlight = (on) => (event) => { event.preventDefault(); zone.classList.toggle("is-over", on); };
  zone.addEventListener("dragenter", highlight(true));
  zone.addEventListener("dragover", highlight(true));
  zone.addEventListener("dragleave", highlight(false));
  zone.addEventListener("drop", (event) => {
    highlight(false)(event);
    const files = [...event.dataTransfer.files];
    if (files.length) sendAll(form, input, [...input.files, ...files], list, form.action);
  });
  form.addEventListener("submit", (event) => {
    if (!input.files.length) return;
    event.preventDefault();
    sendAll(form, input, [...input.files], list, form.action);
  });
}

function start() {
  document.querySelectorAll("form[data-dropzone]").forEach(enable);
  document.querySelectorAll("[data-upload-url]").forEach(uploadWhenChosen);
}
document.addEventListener("htmx:load", start);
start();
