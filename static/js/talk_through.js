/* The talk-through: one step at a time by arrows, buttons and swipes; a dot that points, notes, full screen.
   Pictures are enlarged by buttons, keys, a double click or two fingers, and moved by dragging or Shift and an arrow;
   those of a step are enlarged and moved together, so that they show the same part. */

const steps = [...document.querySelectorAll(".talk-step")];
const count = document.querySelector(".talk-count");
const dot = document.querySelector(".talk-dot");
const MAX_ZOOM = 4;
const SWIPE_PX = 60;
const MOVE = 0.1; // of a picture's size, with each key
const WHOLE = { zoom: 1, x: 0, y: 0 }; // x, y: how far the picture is moved, in parts of its size
const pointers = new Map(); // those that are down on a picture
let shown = 0;
let view = WHOLE;
let swipeFrom = null;

function setView({ zoom, x, y }) {
  const within = (offset) => Math.min(0, Math.max(1 - zoom, offset)); // no gap at an edge
  view = { zoom, x: within(x), y: within(y) };
  for (const drawing of steps[shown].querySelectorAll(".talk-zoom > *")) {
    drawing.style.transform = zoom === 1 ? "" : `translate(${view.x * 100}%, ${view.y * 100}%) scale(${zoom})`;
  }
  document.body.classList.toggle("is-zoomed", zoom > 1);
}

/* Enlarge about a point of the picture, which stays at its place. */
function zoomTo(value, at = { x: 0.5, y: 0.5 }) {
  const zoom = Math.min(MAX_ZOOM, Math.max(1, value));
  const move = (offset, point) => point - ((point - offset) / view.zoom) * zoom;
  setView({ zoom, x: move(view.x, at.x), y: move(view.y, at.y) });
}

function pointIn(picture, point) {
  const box = picture.getBoundingClientRect();
  return { x: (point.clientX - box.left) / box.width, y: (point.clientY - box.top) / box.height };
}

function show(place) {
  setView(WHOLE);
  shown = Math.min(steps.length - 1, Math.max(0, place));
  steps.forEach((step, order) => { step.hidden = order !== shown; });
  count.textContent = `${shown + 1} / ${steps.length}`;
  document.querySelector("[data-talk=back]").disabled = shown === 0;
  document.querySelector("[data-talk=on]").disabled = shown === steps.length - 1;
  document.querySelector(".talk-steps").scrollTop = 0;
  if (steps[shown].id) history.replaceState(null, "", `#${steps[shown].id}`);
}

function toggleNotes() {
  const on = document.body.classList.toggle("with-notes");
  document.querySelector("[data-talk=notes]").setAttribute("aria-pressed", String(on));
}

function toggleFull() {
  if (document.fullscreenElement) document.exitFullscreen();
  else document.documentElement.requestFullscreen?.();
}

const actions = {
  back: () => show(shown - 1),
  on: () => show(shown + 1),
  larger: () => zoomTo(view.zoom * 1.5),
  smaller: () => zoomTo(view.zoom / 1.5),
  full: toggleFull,
  notes: toggleNotes,
};
const keys = {
  ArrowRight: "on", PageDown: "on", ArrowLeft: "back", PageUp: "back", "+": "larger", "-": "smaller", f: "full", n: "notes",
};

const moves = {
  ArrowRight: { x: -MOVE, y: 0 }, ArrowLeft: { x: MOVE, y: 0 }, ArrowDown: { x: 0, y: -MOVE }, ArrowUp: { x: 0, y: MOVE },
};

document.body.classList.add("talk-live");
for (const button of document.querySelectorAll("[data-talk]")) {
  button.hidden = false;
  button.addEventListener("click", () => actions[button.dataset.talk]());
}

document.addEventListener("keydown", (event) => {
  if (event.altKey || event.ctrlKey || event.metaKey) return;
  const move = event.shiftKey && view.zoom > 1 && moves[event.key];
  if (move) setView({ zoom: view.zoom, x: view.x + move.x, y: view.y + move.y });
  else if (event.key === "Home" || event.key === "End") show(event.key === "Home" ? 0 : steps.length - 1);
  else if (event.key in keys && document.querySelector(`[data-talk=${keys[event.key]}]`)) actions[keys[event.key]]();
  else return;
  event.preventDefault();
});

document.addEventListener("dblclick", (event) => {
  const picture = event.target.closest(".talk-zoom");
  if (picture) zoomTo(view.zoom > 1 ? 1 : 2.25, pointIn(picture, event));
});

document.addEventListener("pointerdown", (event) => {
  if (event.target.closest(".talk-zoom")) pointers.set(event.pointerId, event);
});

/* Move the picture with a pointer that is down, or enlarge it with two. */
function drag(event) {
  const before = pointers.get(event.pointerId);
  const picture = before?.target.closest(".talk-zoom");
  if (!picture) return;
  pointers.set(event.pointerId, { target: before.target, clientX: event.clientX, clientY: event.clientY });
  const other = [...pointers].find(([id]) => id !== event.pointerId)?.[1];
  if (other) {
    const apart = (point) => Math.hypot(point.clientX - other.clientX, point.clientY - other.clientY);
    zoomTo(view.zoom * (apart(event) / apart(before)), pointIn(picture, other));
  } else if (view.zoom > 1) {
    const from = pointIn(picture, before), to = pointIn(picture, event);
    setView({ zoom: view.zoom, x: view.x + to.x - from.x, y: view.y + to.y - from.y });
  }
}

document.addEventListener("pointermove", (event) => {
  const figure = event.target.closest?.(".talk-figure");
  dot.hidden = event.pointerType === "touch" || !figure;
  if (!dot.hidden) dot.style.transform = `translate(${event.clientX}px, ${event.clientY}px)`;
  drag(event);
});

document.addEventListener("pointerup", (event) => {
  drag(event); // the last movement may come with it
  pointers.delete(event.pointerId);
});

document.addEventListener("pointercancel", (event) => pointers.delete(event.pointerId));

document.addEventListener("touchstart", (event) => {
  const touch = event.touches[0];
  swipeFrom = event.touches.length === 1 && view.zoom === 1 ? { x: touch.clientX, y: touch.clientY } : null;
}, { passive: true });

document.addEventListener("touchend", (event) => {
  if (!swipeFrom) return;
  const touch = event.changedTouches[0];
  const across = touch.clientX - swipeFrom.x;
  if (Math.abs(across) > SWIPE_PX && Math.abs(across) > 2 * Math.abs(touch.clientY - swipeFrom.y)) show(shown + (across < 0 ? 1 : -1));
  swipeFrom = null;
}, { passive: true });

show(Math.max(0, steps.findIndex((step) => step.id && `#${step.id}` === location.hash)));
