/* Marks on the outline of the bike.
   Every .outline-mark is put where its data-x and data-y (% of the drawing) say.
   A textarea with data-outline-marks="ID" is replaced by the drawing with that id: a press on it adds a
   mark; by keyboard the button "Add a mark" does, and the arrow keys move the mark that has the focus. */
(() => {
  "use strict";
  const STEP = 2;
  const place = (mark) => { mark.style.left = `${mark.dataset.x}%`; mark.style.top = `${mark.dataset.y}%`; };
  document.querySelectorAll(".outline-mark").forEach(place);

  const field = document.querySelector("[data-outline-marks]");
  const drawing = field && document.getElementById(field.dataset.outlineMarks);
  if (!drawing) return;
  let marks = [];
  const read = () => { try { marks = JSON.parse(field.value || "[]") || []; } catch { marks = []; } };
  read();

  const rows = document.createElement("ol");
  rows.className = "outline-rows";
  const add = document.createElement("button");
  add.type = "button";
  add.className = "btn";
  add.textContent = "Add a mark";
  const holder = document.createElement("div");
  holder.append(drawing, drawing.parentElement?.querySelector(".outline-ends") || document.querySelector(".outline-ends"), rows, add);
  field.hidden = true;
  field.after(holder);
  drawing.hidden = false;
  drawing.dataset.editing = "";

  const keep = () => {
    field.value = JSON.stringify(marks);
    field.dispatchEvent(new Event("input", { bubbles: true }));
  };
  const within = (value) => Math.round(Math.min(100, Math.max(0, value)) * 10) / 10;

  const draw = () => {
    drawing.querySelectorAll(".outline-mark").forEach((mark) => mark.remove());
    rows.replaceChildren();
    marks.forEach((mark, index) => {
      const dot = document.createElement("button");
      dot.type = "button";
      dot.className = "outline-mark";
      dot.textContent = index + 1;
      dot.setAttribute("aria-label", `Mark ${index + 1}, ${mark.note || "not named yet"}: move with the arrow keys`);
      Object.assign(dot.dataset, { x: mark.x, y: mark.y });
      place(dot);
      dot.addEventListener("keydown", (event) => {
        const by = { ArrowLeft: [-STEP, 0], ArrowRight: [STEP, 0], ArrowUp: [0, -STEP], ArrowDown: [0, STEP] }[event.key];
        if (!by) return;
        event.preventDefault();
        mark.x = within(mark.x + by[0]);
        mark.y = within(mark.y + by[1]);
        Object.assign(dot.dataset, { x: mark.x, y: mark.y });
        place(dot);
        keep();
      });
      drawing.append(dot);

      const row = document.createElement("li");
      const number = document.createElement("span");
      number.textContent = index + 1;
      const note = document.createElement("input");
      note.className = "form-control";
      note.maxLength = 200;
      note.value = mark.note;
      note.setAttribute("aria-label", `What is at mark ${index + 1}`);
      note.addEventListener("input", () => { mark.note = note.value; keep(); });
      const off = document.createElement("button");
      off.type = "button";
      off.className = "btn";
      off.textContent = "Take off";
      off.setAttribute("aria-label", `Take off mark ${index + 1}`);
      off.addEventListener("click", () => { marks.splice(index, 1); keep(); draw(); add.focus(); });
      row.append(number, note, off);
      rows.append(row);
    });
  };
  const put = (x, y) => {
    marks.push({ x: within(x), y: within(y), note: "" });
    keep();
    draw();
    rows.lastElementChild.querySelector("input").focus();
  };
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
})();
