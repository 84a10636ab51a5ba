/* Marks on the outlines of the bike, one drawing for each side.
   Every .outline-mark is put where its data-x and data-y (% of the drawing) say.
   A textarea with data-outline-marks="ID" is replaced by the drawings within that id: a press on one adds a mark; by
   keyboard the button "Add a mark" below it does, and the arrow keys move the mark that has the focus. A mark stored
   without a side is on the first drawing. */

import { element } from "./elements.js";

const STEP = 2;
const WAYS = { ArrowLeft: [-STEP, 0], ArrowRight: [STEP, 0], ArrowUp: [0, -STEP], ArrowDown: [0, STEP] };

const place = (mark) => { mark.style.left = `${mark.dataset.x}%`; mark.style.top = `${mark.dataset.y}%`; };
const within = (value) => Math.round(Math.min(100, Math.max(0, value)) * 10) / 10;

function edit(field, outlines) {
  let marks = [];
  const read = () => { try { marks = JSON.parse(field.value || "[]") || []; } catch { marks = []; } };
  read();

  const drawings = [...outlines.querySelectorAll(".outline")];
  const sideOf = (mark) => mark.side ?? drawings[0].dataset.side;
  const isOn = (mark, drawing) => sideOf(mark) === drawing.dataset.side;
  const rows = element("ol", { class: "outline-rows" });
  field.hidden = true;
  field.after(element("div", {}, outlines, rows));

  const keep = () => {
    field.value = JSON.stringify(marks);
    field.dispatchEvent(new Event("input", { bubbles: true }));
  };

  function dotOf(mark, number) {
    const label = `Mark ${number}, ${sideOf(mark)} side, ${mark.note || "not described yet"}: move with the arrow keys`;
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
    const note = element("input", { class: "form-control", maxlength: 200, "aria-label": `Describe mark ${number}, ${sideOf(mark)} side` });
    note.value = mark.note;
    note.addEventListener("input", () => { mark.note = note.value; keep(); });
    const off = element("button", { type: "button", class: "btn", "aria-label": `Remove mark ${number}` }, "Remove");
    off.addEventListener("click", () => { marks = marks.filter((each) => each !== mark); keep(); draw(); addTo(sideOf(mark)).focus(); });
    return element("li", {}, element("span", {}, `${number} `, element("span", { class: "soft" }, sideOf(mark))), note, off);
  }

  function draw() {
    outlines.querySelectorAll(".outline-mark").forEach((dot) => dot.remove());
    marks.forEach((mark, index) => drawings.find((drawing) => isOn(mark, drawing))?.append(dotOf(mark, index + 1)));
    rows.replaceChildren(...marks.map((mark, index) => rowOf(mark, index + 1)));
  }

  function put(drawing, x, y) {
    marks.push({ x: within(x), y: within(y), side: drawing.dataset.side, note: "" });
    keep();
    draw();
    rows.lastElementChild.querySelector("input").focus();
  }

  const addTo = (side) => outlines.querySelector(`[data-add="${side}"]`);

  for (const drawing of drawings) {
    const { side } = drawing.dataset;
    drawing.dataset.editing = "";
    drawing.addEventListener("click", (event) => {
      if (event.target.closest(".outline-mark")) return;
      const box = drawing.getBoundingClientRect();
      put(drawing, (100 * (event.clientX - box.left)) / box.width, (100 * (event.clientY - box.top)) / box.height);
    });
    const add = element("button", { type: "button", class: "btn", "data-add": side }, `Add a mark on the ${side} side`);
    // Beside one that is there already, not over it.
    add.addEventListener("click", () => {
      let x = 50;
      while (x < 96 && marks.some((mark) => isOn(mark, drawing) && mark.x === x && mark.y === 50)) x += 6;
      put(drawing, x, 50);
    });
    drawing.parentElement.append(add);
  }
  // A restored draft comes into the field, not by a press on the drawing.
  field.addEventListener("input", () => { if (field.value !== JSON.stringify(marks)) { read(); draw(); } });
  draw();
}

document.querySelectorAll(".outline-mark").forEach(place);
const field = document.querySelector("[data-outline-marks]");
const outlines = field && document.getElementById(field.dataset.outlineMarks);
if (outlines) edit(field, outlines);
