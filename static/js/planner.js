/* The schedule by pointer, touch and keyboard; without this script the links and forms do the same.

   <div data-planner data-start data-quarters data-now data-new>  the axis, in quarter hours from midnight; "10:15"; form of a new slot
   <div class="time" data-day data-place data-name>               a workstation on a day
   <a class="slot" data-move data-version data-from data-len>     a slot; its address takes the move
   <li data-job>                                                  work without a slot
   <form id="slot-mover">                                         sent by htmx: the answer is the schedule again

   Positions are quarter hours from the start of the axis (--from, --len). A drag along a row moves a slot, at an end
   makes it longer or shorter; on free time it books. By touch, hold first: a quick stroke scrolls the page. With the
   focus on a slot the arrow keys move it, with Shift they change its length, Enter opens it. A move is sent once the
   pointer is lifted, or a moment after the last key. */

const KEY_PAUSE_MS = 900;
const HOLD_MS = 350;
const MIN_MOVE_PX = 6;
const END_PX = 10; // at either end of a slot
const NEW_LENGTH = 8; // of work dropped from the tray
const MAX_LENGTH = 64;

const planner = () => document.querySelector("[data-planner]");
const mover = () => document.getElementById("slot-mover");
const isUpright = () => getComputedStyle(planner()).getPropertyValue("--upright").trim() === "1";
const rows = () => [...planner().querySelectorAll(".time[data-place]")];
const quarters = () => Number(planner().dataset.quarters);

function clock(quarter) {
  const at = Number(planner().dataset.start) + quarter;
  return `${String(Math.floor(at / 4)).padStart(2, "0")}:${String((at % 4) * 15).padStart(2, "0")}`;
}

function say(text) {
  const status = document.querySelector("[data-said]");
  if (status) status.textContent = text;
}

const describe = ({ element, row, from, len }) => `${element.querySelector("b").textContent}: ${clock(from)} to ${clock(from + len)}, ${row.dataset.name}`;

/* Where a slot is now, and where it was when the page came. */
function stateOf(element) {
  element.planned ||= { element, row: element.parentElement, from: Number(element.dataset.from), len: Number(element.dataset.len) };
  return element.planned;
}

function place(element, { row, from, len }) {
  const state = stateOf(element);
  state.len = Math.max(1, Math.min(len, MAX_LENGTH, quarters()));
  state.from = Math.max(0, Math.min(from, quarters() - state.len));
  if (row !== state.row) {
    state.row = row;
    const hadFocus = element === document.activeElement;
    element.isChangingRow = true; // taken out of its row it loses the focus, which is no reason to send
    row.append(element);
    if (hadFocus) element.focus();
    element.isChangingRow = false;
  }
  element.style.setProperty("--from", state.from);
  element.style.setProperty("--len", state.len);
  say(describe(state));
}

const original = (element) => ({ from: Number(element.dataset.from), len: Number(element.dataset.len), row: element.firstRow || element.parentElement });

function hasMoved(element) {
  const was = original(element), now = stateOf(element);
  return was.from !== now.from || was.len !== now.len || was.row !== now.row;
}

function putBack(element) {
  place(element, original(element));
  element.isSent = false;
  say("");
}

function send(element) {
  clearTimeout(element.pause);
  if (!element.isConnected || element.isSent || !hasMoved(element)) return;
  element.isSent = true;
  const form = mover(), { row, from, len } = stateOf(element);
  const values = { day: row.dataset.day, place: row.dataset.place, clock: clock(from), minutes: len * 15, version: element.dataset.version };
  for (const [name, value] of Object.entries(values)) form.elements[name].value = value;
  form.moved = element;
  window.htmx.ajax("POST", element.dataset.move, { source: form });
}

/* Not answered: the slot is where it was; the page says why. */
document.addEventListener("htmx:afterRequest", ({ target, detail }) => {
  if (target.id === "slot-mover" && !detail.successful && target.moved?.isConnected) putBack(target.moved);
});

/* htmx would copy the style of the old slot to the new one as an attribute, which the policy forbids. */
document.addEventListener("htmx:beforeSwap", ({ detail }) => {
  if (detail.target.id !== "slots") return;
  for (const element of detail.target.querySelectorAll("[style]")) element.removeAttribute("style");
});

/* by pointer */
let drag = null;

function quarterAt(row, event) {
  const box = row.getBoundingClientRect();
  const part = isUpright() ? (event.clientY - box.top) / box.height : (event.clientX - box.left) / box.width;
  return part * quarters();
}

const rowAt = (event) => document.elementsFromPoint(event.clientX, event.clientY).find((each) => each.matches(".time[data-place]"));

/* Which part of a slot was taken: one of its ends, or all of it. */
function partOf(slot, event) {
  const box = slot.getBoundingClientRect();
  const inside = isUpright() ? event.clientY - box.top : event.clientX - box.left;
  const size = isUpright() ? box.height : box.width;
  const end = Math.min(END_PX, size / 4);
  return inside < end ? "start" : inside > size - end ? "end" : "all";
}

function begin(event) {
  const slot = event.target.closest("[data-move]");
  if (slot) {
    slot.firstRow ||= slot.parentElement;
    const { row, from, len } = stateOf(slot);
    return { slot, part: partOf(slot, event), from, len, grabbed: quarterAt(row, event) - from };
  }
  const job = event.target.closest("[data-job]");
  if (job) return event.target.closest("a") && event.pointerType === "touch" ? null : { job: job.dataset.job, name: job.querySelector("a").textContent };
  const row = event.target.closest(".time[data-place]");
  return row && planner().dataset.new ? { row, grabbed: Math.floor(quarterAt(row, event)) } : null;
}

function ghost(row, from, len, name) {
  if (!drag.ghost) {
    drag.ghost = document.createElement("div");
    drag.ghost.className = "slot is-ghost";
    drag.ghost.append(document.createElement("b"), document.createElement("span"));
    drag.ghost.dataset.from = from;
    drag.ghost.dataset.len = len;
    row.append(drag.ghost);
  }
  drag.ghost.firstChild.textContent = name;
  place(drag.ghost, { row, from, len });
  const state = stateOf(drag.ghost);
  drag.ghost.lastChild.textContent = `${clock(state.from)} to ${clock(state.from + state.len)}`;
}

function dragTo(event) {
  const row = rowAt(event);
  if (drag.slot) {
    const at = quarterAt(stateOf(drag.slot).row, event), { from, len } = drag;
    const by = Math.round(at - drag.grabbed - from);
    if (drag.part === "all") place(drag.slot, { row: row || stateOf(drag.slot).row, from: from + by, len });
    else if (drag.part === "end") place(drag.slot, { row: drag.slot.planned.row, from, len: len + by });
    else { const start = Math.max(0, Math.min(from + by, from + len - 1)); place(drag.slot, { row: drag.slot.planned.row, from: start, len: from + len - start }); }
  } else if (drag.job) {
    if (row) ghost(row, Math.floor(quarterAt(row, event)), NEW_LENGTH, drag.name);
  } else {
    const at = Math.floor(quarterAt(drag.row, event));
    ghost(drag.row, Math.min(at, drag.grabbed), Math.abs(at - drag.grabbed) + 1, "New slot");
  }
}

function startDrag() {
  drag.isOn = true;
  drag.slot?.classList.add("is-moving");
  getSelection().removeAllRanges();
}

function stop(isDone) {
  const ended = drag;
  drag = null;
  if (!ended) return;
  clearTimeout(ended.hold);
  ended.slot?.classList.remove("is-moving");
  if (ended.isOn && isDone && ended.slot) send(ended.slot);
  else if (ended.isOn && ended.slot) putBack(ended.slot);
  if (isDone && ended.ghost) {
    const { row, from, len } = stateOf(ended.ghost);
    const query = new URLSearchParams({ place: row.dataset.place, day: row.dataset.day, clock: clock(from), hours: len / 4 });
    if (ended.job) query.set("job", ended.job);
    location.assign(`${planner().dataset.new}?${query}`);
  } else {
    ended.ghost?.remove();
  }
  if (!ended.isOn) return;
  // The click that follows a drag would open the slot.
  const swallow = (event) => { event.preventDefault(); event.stopPropagation(); };
  window.addEventListener("click", swallow, { capture: true, once: true });
  setTimeout(() => window.removeEventListener("click", swallow, { capture: true }), 50);
}

document.addEventListener("pointerdown", (event) => {
  if (!event.isPrimary || event.button || !event.target.closest?.("#slots") || !planner()?.dataset.new) return;
  drag = begin(event);
  if (!drag) return;
  Object.assign(drag, { x: event.clientX, y: event.clientY, pointer: event.pointerId });
  if (event.pointerType === "touch") drag.hold = setTimeout(startDrag, HOLD_MS);
  else drag.isMouse = true;
});
document.addEventListener("pointermove", (event) => {
  if (!drag || event.pointerId !== drag.pointer) return;
  const moved = Math.hypot(event.clientX - drag.x, event.clientY - drag.y) > MIN_MOVE_PX;
  if (!drag.isOn && moved) {
    if (!drag.isMouse) { stop(false); return; } // a stroke before the hold: it scrolls
    startDrag();
  }
  if (drag.isOn) dragTo(event);
});
document.addEventListener("pointerup", () => stop(true));
document.addEventListener("pointercancel", () => stop(false));
document.addEventListener("dragstart", (event) => { if (event.target.closest("#slots")) event.preventDefault(); });
document.addEventListener("touchmove", (event) => { if (drag?.isOn) event.preventDefault(); }, { passive: false });
document.addEventListener("contextmenu", (event) => { if (drag?.isOn) event.preventDefault(); });

/* by keyboard */
function step(element, key, isShift) {
  const state = stateOf(element);
  const [back, on, up, down] = isUpright() ? ["ArrowUp", "ArrowDown", "ArrowLeft", "ArrowRight"] : ["ArrowLeft", "ArrowRight", "ArrowUp", "ArrowDown"];
  const by = { [back]: -1, [on]: 1 }[key], across = { [up]: -1, [down]: 1 }[key];
  if (by && isShift) place(element, { ...state, len: Math.min(state.len + by, quarters() - state.from) });
  else if (by) place(element, { ...state, from: state.from + by });
  else if (across && !isShift) {
    const same = rows().filter((row) => row.dataset.day === state.row.dataset.day);
    const row = same[same.indexOf(state.row) + across];
    if (row) place(element, { ...state, row });
  } else return false;
  return true;
}

document.addEventListener("keydown", (event) => {
  if (event.key === "Escape" && drag) { stop(false); return; }
  const slot = event.target.closest?.("[data-move]");
  if (!slot || event.ctrlKey || event.altKey || event.metaKey) return;
  slot.firstRow ||= slot.parentElement;
  if (event.key === "Escape") { clearTimeout(slot.pause); putBack(slot); return; }
  if (event.key === "Enter" && hasMoved(slot)) { event.preventDefault(); send(slot); return; }
  if (!step(slot, event.key, event.shiftKey)) return;
  event.preventDefault();
  clearTimeout(slot.pause);
  slot.pause = setTimeout(() => send(slot), KEY_PAUSE_MS);
});
document.addEventListener("focusout", (event) => {
  const slot = event.target.closest?.("[data-move]");
  if (slot?.pause && !slot.isChangingRow) send(slot);
});

/* the present time, between the quarter hours */
const loadedAt = Date.now();

function drawNow() {
  const lines = document.querySelectorAll(".now-line");
  if (!lines.length) return;
  const [hour, minute] = planner().dataset.now.split(":").map(Number);
  const quarter = (hour * 60 + minute + (Date.now() - loadedAt) / 60_000) / 15 - Number(planner().dataset.start);
  const at = Math.floor(quarter), rest = quarter - at;
  for (const line of lines) {
    line.hidden = at < 0 || at >= quarters();
    if (line.hidden) continue;
    const box = line.parentElement.getBoundingClientRect();
    line.style.setProperty("--from", at);
    line.style.translate = isUpright() ? `0 ${(rest * box.height) / quarters()}px` : `${(rest * box.width) / quarters()}px 0`;
  }
}
drawNow();
setInterval(drawNow, 60_000);
