// Pointers on the page: click to place or open, drag a mark, an arrow's point, a new arrow or the page; wheel and pinch.
"use strict";

(() => {
  const { stage } = desk;
  const CLICK = 5; // pixels a pointer may wander and still have clicked
  const pointers = new Map();
  let drag = null;
  let dragged = false; // what is let go now was dragged: the click that follows means nothing
  let before = null; // where the pointer was last seen: a page that is laid out anew under it is no movement

  const tipAt = (tip) => ({ x: tip.transform.baseVal.getItem(0).matrix.e, y: tip.transform.baseVal.getItem(0).matrix.f });
  const beginning = (fade) => {
    const line = fade.querySelector("line");
    return { x: Number(line.getAttribute("x1")), y: Number(line.getAttribute("y1")) };
  };
  const dragTip = (tip, at) => desk.draw.turnArrow(tip.closest(".fade"), beginning(tip.closest(".fade")), desk.pixels(at));
  const said = ({ dataset }, at) => ({ x: at.x.toFixed(5), y: at.y.toFixed(5), seen: dataset.seen });
  const pointTip = (tip, at) => desk.send(tip.dataset.tip, said(tip, at), "An arrow turned", { keep: true });
  const moveMark = (pin, at) => desk.send(pin.dataset.move, said(pin, at), `Mark ${pin.querySelector("text").textContent} moved`, { keep: true });

  function openMark(pin) {
    desk.draw.newMark(null);
    desk.draw.clearDraft();
    for (const other of desk.overlay().querySelectorAll(".pin-chosen")) other.classList.remove("pin-chosen");
    pin.classList.add("pin-chosen");
    htmx.ajax("GET", pin.dataset.mark, { target: "#panel", swap: "innerHTML" });
    history.replaceState(null, "", pin.getAttribute("href"));
  }

  stage.addEventListener("pointerdown", (event) => {
    if (event.button !== 0) return;
    pointers.set(event.pointerId, { x: event.clientX, y: event.clientY });
    if (pointers.size === 1) {
      dragged = false;
      const pin = desk.pinAt(event.target);
      const tip = event.target.closest("[data-tip]");
      const drawing = desk.mayMark && !pin && !tip && desk.placing.draws(event.shiftKey);
      const from = tip ? tipAt(tip) : pin?.getAttribute("transform");
      const start = desk.place(event);
      drag = { id: event.pointerId, startX: event.clientX, startY: event.clientY, pin, tip, from, start, drawing, moved: false };
    } else {
      putBack();
      drag = null;
      dragged = true;
    }
  });

  stage.addEventListener("pointermove", (event) => {
    const last = pointers.get(event.pointerId);
    const now = { x: event.clientX, y: event.clientY };
    if (!last) {
      if (before && (before.x !== now.x || before.y !== now.y)) desk.keys.pointAt(desk.place(event));
      before = now;
      return;
    }
    if (pointers.size === 2) pinch(event.pointerId, last, now);
    pointers.set(event.pointerId, now);
    if (!drag || drag.id !== event.pointerId) return;
    if (!drag.moved && Math.hypot(now.x - drag.startX, now.y - drag.startY) > CLICK) {
      drag.moved = true;
      stage.setPointerCapture(event.pointerId);
      stage.classList.add("dragging");
    }
    if (!drag.moved) return;
    if (drag.drawing) desk.placing.sketch(drag.start, desk.place(event));
    else if (drag.tip) dragTip(drag.tip, desk.place(event));
    else if (drag.pin?.dataset.move) drag.pin.setAttribute("transform", desk.draw.transform(desk.place(event)));
    else desk.pan(now.x - last.x, now.y - last.y);
  });
  stage.addEventListener("pointerleave", () => { before = null; });

  function pinch(id, last, now) {
    const other = [...pointers].find(([key]) => key !== id)[1];
    const box = stage.getBoundingClientRect();
    const apart = (a) => Math.hypot(a.x - other.x, a.y - other.y);
    desk.zoom(apart(now) / Math.max(apart(last), 1), (now.x + other.x) / 2 - box.left, (now.y + other.y) / 2 - box.top);
    desk.pan((now.x - last.x) / 2, (now.y - last.y) / 2);
  }

  // A mark that was dragged nowhere it can stay stands again where it was.
  function putBack() {
    if (drag?.moved && drag.drawing) desk.draw.clearDraft();
    else if (drag?.moved && drag.tip) desk.draw.turnArrow(drag.tip.closest(".fade"), beginning(drag.tip.closest(".fade")), drag.from);
    else if (drag?.moved && drag.pin?.dataset.move) drag.pin.setAttribute("transform", drag.from);
    stage.classList.remove("dragging");
  }

  function release(event) {
    pointers.delete(event.pointerId);
    if (!drag || drag.id !== event.pointerId) return;
    const { pin, tip, moved, drawing, start } = drag;
    const at = desk.place(event);
    if (event.type !== "pointerup" || (!drawing && !desk.onPage(at))) putBack();
    drag = null;
    stage.classList.remove("dragging");
    if (event.type !== "pointerup") return;
    dragged = moved;
    if (drawing && moved) desk.placing.drawn(start, at);
    else if (tip) {
      if (moved && desk.onPage(at)) pointTip(tip, at);
    } else if (moved && pin?.dataset.move && desk.onPage(at)) moveMark(pin, at);
  }
  stage.addEventListener("pointerup", release);
  stage.addEventListener("pointercancel", release);

  // A form is opened by the click, not before: the browser's own deeds of a tap (it moves the focus) are done by then.
  // A pin is a link for those without this script.
  stage.addEventListener("click", (event) => {
    const pin = desk.pinAt(event.target);
    if (pin) event.preventDefault();
    const wasDrag = dragged && event.detail !== 0; // Enter on a pin is a click without a pointer
    dragged = false;
    if (wasDrag || event.target.closest("[data-tip]")) return;
    if (pin) openMark(pin);
    else if (desk.mayMark && event.detail !== 0) {
      const at = desk.place(event);
      desk.keys.pointAt(at);
      desk.placing.at(at);
    }
  });
  stage.addEventListener("dragstart", (event) => event.preventDefault());

  stage.addEventListener("wheel", (event) => {
    event.preventDefault();
    const box = stage.getBoundingClientRect();
    desk.zoom(Math.exp(-event.deltaY * (event.deltaMode ? 0.05 : 0.0015)), event.clientX - box.left, event.clientY - box.top);
  }, { passive: false });

  desk.pointer = { openMark, pointTip, moveMark, dragTip, tipAt };
})();
