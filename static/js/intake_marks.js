/* Marks on the outline of the bike.
   Every .outline-mark is put where its data-x and data-y (% of the drawing) say.
   A textarea with data-outline-marks="ID" is replaced by the drawing with that id: a press on it adds a
   mark; by keyboard the button "Add a mark" does, and the arrow keys move the mark that has the focus. */

import { element } from "./elements.js";

const STEP = 2;
const WAYS = { ArrowLeft: [-STEP, 0], ArrowRight: [STEP, 0], ArrowUp: [0, -STEP], ArrowDown: [0, STEP] };

const place = (mark) => { mark.style.left = `${mark.dataset.x}%`; mark.style.top = `${mark.dataset.y}%`; };
const within = (value) => Math.round(Math.min(100, Math.max(0, value)) * 10) / 10;

function edit(field, drawing) {
  let marks = [];
  const read = () => { try { marks = JSON.parse(field.value || "[]") || []; } catch { marks = []; } };
  read();

  const rows = element("ol", { class: "outline-rows" });
  const add = element("button", { type: "button", class: "btn" }, "Add a mark");
  const ends = drawing.parentElement?.querySelector(".outline-ends") || document.querySelector(".outline-ends");
  const holder = element("div", {}, drawing, ends, rows, add);
  field.hidden = true;
  field.after(holder);
  drawing.hidden = false;
  drawing.dataset.editing = "";

  const keep = () => {
    field.value = JSON.stringify(marks);
    field.dispatchEvent(new Event("input", { bubbles: true }));
  };

  function dotOf(mark, number) {
    const label = `Mark ${number}, ${mark.note || "not named yet"}: move with the arrow keys`;
    const dot = element("button", { type: "button", class: "outline-mark", "aria-label": label, "data-x": mark.x, "data-y": mark.y }, number);
    place(dot);
    dot.addEventListener("keydown", (event) => {
      const by = WAYS[event.key];
      if (!by) return;
      event.preventDefault();
      mark.x = within(mark.x + by[0]);
      mark.y = within(mark.y + by[1]);
      Object.assign(dot.dataset, { x: mark.x, y: mark.y });
      place(dot);
      keep();
    });
    return dot;
  }

  function rowOf(mark, number) {
    const note = element("input", { class: "form-control", maxlength: 200, "aria-label": `What is at mark ${number}` });
    note.value = mark.note;
    note.addEventListener("input", () => { mark.note = note.value; keep(); });
    const off = element("button", { type: "button", class: "btn", "aria-label": `Take off mark ${number}` }, "Take off");
    off.addEventListener("click", () => { marks = marks.filter((each) => each !== mark); keep(); draw(); add.focus(); });
    return element("li", {}, element("span", {}, number), note, off);
  }

  function draw() {
    drawing.querySelectorAll(".outline-mark").forEach((mark) => mark.remove());
    drawing.append(...marks.map((mark, index) => dotOf(mark, index + 1)));
    rows.replaceChildren(...marks.map((mark, index) => rowOf(mark, index + 1)));
  }

  function put(x, y) {
    marks.push({ x: within(x), y: within(y), note: "" });
    keep();
    draw();
    rows.lastElementChild.querySelector("input").focus();
  }

  drawing.addEventListener("click", (event) => {
    if (event.target.closest(".outline-mark")) return;
    const box = drawing.getBoundingClientRect();
    put((100 * (event.clientX - box.left)) / box.width, (100 * (event.clientY - box.top)) / box.height);
  });
  // Beside one that is there already, not over it.
  add.addEventListener("click", () => {
    let x = 50;
    while (x < 96 && marks.some((mark) => mark.x === x && mark.y === 50)) x += 6;
    put(x, 50);
  });
  // A draft that is put back comes into the field, not by a press on the drawing.
  field.addEventListener("input", () => { if (field.value !== JSON.stringify(marks)) { read(); draw(); } });
  draw();
}

document.querySelectorAll(".outline-mark").forEach(place);
const field = document.querySelector("[data-outline-marks]");
const drawing = field && document.getElementById(field.dataset.outlineMarks);
if (drawing) edit(field, drawing);
