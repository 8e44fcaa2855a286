// The page guide: pan, wheel, pinch and keys; click to place a mark, drag one to move it.
// The picture and the marks come from the server; this only moves them about and asks for the panel.
"use strict";

(() => {
  const stage = document.getElementById("stage");
  const paper = document.getElementById("paper");
  if (!stage) return;

  const size = { width: Number(stage.dataset.width), height: Number(stage.dataset.height) };
  const CLICK = 5; // pixels a pointer may wander and still have clicked
  const STEP = 1.25; // one press of a key or a button
  const NUDGE = 0.002; // of the page, per arrow key on a mark
  const PIN = 1.0; // size of a mark on the screen, whatever the magnification
  let view = { scale: 1, x: 0, y: 0 };
  let touched = false; // has the person chosen a view?
  const pointers = new Map();
  let drag = null;

  const whole = () => Math.min(stage.clientWidth / size.width, stage.clientHeight / size.height);

  function show() {
    paper.style.transform = `translate(${view.x}px, ${view.y}px) scale(${view.scale})`;
    stage.style.setProperty("--pin-scale", PIN / view.scale);
  }

  function fit() {
    const scale = whole();
    view = { scale, x: (stage.clientWidth - size.width * scale) / 2, y: (stage.clientHeight - size.height * scale) / 2 };
    touched = false;
    show();
  }

  function zoom(factor, atX = stage.clientWidth / 2, atY = stage.clientHeight / 2) {
    const scale = Math.min(Math.max(view.scale * factor, whole() / 2), 8);
    const ratio = scale / view.scale;
    view = { scale, x: atX - (atX - view.x) * ratio, y: atY - (atY - view.y) * ratio };
    touched = true;
    show();
  }

  function pan(dx, dy) {
    view.x += dx;
    view.y += dy;
    touched = true;
    show();
  }

  // Stage pixels to fractions of the page.
  function place(event) {
    const box = stage.getBoundingClientRect();
    return {
      x: (event.clientX - box.left - view.x) / view.scale / size.width,
      y: (event.clientY - box.top - view.y) / view.scale / size.height,
    };
  }

  const onPage = (at) => at.x >= 0 && at.x <= 1 && at.y >= 0 && at.y <= 1;
  const overlay = () => document.getElementById("overlay");
  const pinTransform = (at) => `translate(${at.x * size.width} ${at.y * size.height})`;
  const panel = (verb, url, values) => htmx.ajax(verb, url, { target: "#panel", swap: "innerHTML", values });

  function placeNew(at) {
    const url = stage.dataset.newMark;
    if (!url || !onPage(at)) return;
    overlay().querySelector(".pin-new")?.remove();
    const pin = document.createElementNS("http://www.w3.org/2000/svg", "g");
    pin.setAttribute("class", "pin-new");
    pin.setAttribute("transform", pinTransform(at));
    pin.innerHTML = '<g class="pin-shape"><path class="halo" d="M-14 0H14M0 -14V14"/><path d="M-14 0H14M0 -14V14"/></g>';
    overlay().append(pin);
    panel("GET", `${url}?x=${at.x.toFixed(5)}&y=${at.y.toFixed(5)}`);
  }

  function openMark(pin) {
    overlay().querySelector(".pin-new")?.remove();
    for (const other of overlay().querySelectorAll(".pin-chosen")) other.classList.remove("pin-chosen");
    pin.classList.add("pin-chosen");
    panel("GET", pin.dataset.mark);
    history.replaceState(null, "", pin.getAttribute("href"));
  }

  // Draws the arrow of a gradient anew while its beginning or its point is dragged.
  function drawArrow(fade, from, to) {
    for (const line of fade.querySelectorAll("line")) {
      for (const [name, value] of [["x1", from.x], ["y1", from.y], ["x2", to.x], ["y2", to.y]]) line.setAttribute(name, value);
    }
    const turn = (Math.atan2(to.y - from.y, to.x - from.x) * 180) / Math.PI;
    fade.querySelector(".tip").setAttribute("transform", `translate(${to.x} ${to.y}) rotate(${turn})`);
  }

  const pixels = (at) => ({ x: at.x * size.width, y: at.y * size.height });
  const beginning = (fade) => {
    const line = fade.querySelector("line");
    return { x: Number(line.getAttribute("x1")), y: Number(line.getAttribute("y1")) };
  };
  const tipAt = (tip) => ({ x: tip.transform.baseVal.getItem(0).matrix.e, y: tip.transform.baseVal.getItem(0).matrix.f });
  const dragTip = (tip, at) => drawArrow(tip.closest(".fade"), beginning(tip.closest(".fade")), pixels(at));

  function pointTip(tip, at) {
    panel("POST", tip.dataset.tip, { x: at.x.toFixed(5), y: at.y.toFixed(5), seen: tip.dataset.seen });
  }

  function moveMark(pin, at) {
    panel("POST", pin.dataset.move, { x: at.x.toFixed(5), y: at.y.toFixed(5), seen: pin.dataset.seen });
  }

  stage.addEventListener("pointerdown", (event) => {
    if (event.button !== 0) return;
    pointers.set(event.pointerId, { x: event.clientX, y: event.clientY });
    if (pointers.size === 1) {
      const pin = event.target.closest("[data-mark]");
      const tip = event.target.closest("[data-tip]");
      const from = tip ? tipAt(tip) : pin?.getAttribute("transform");
      drag = { id: event.pointerId, startX: event.clientX, startY: event.clientY, pin, tip, from, moved: false };
    } else {
      putBack();
      drag = null;
    }
  });

  stage.addEventListener("pointermove", (event) => {
    const before = pointers.get(event.pointerId);
    if (!before) return;
    const now = { x: event.clientX, y: event.clientY };
    if (pointers.size === 2) pinch(event.pointerId, before, now);
    pointers.set(event.pointerId, now);
    if (!drag || drag.id !== event.pointerId) return;
    if (!drag.moved && Math.hypot(now.x - drag.startX, now.y - drag.startY) > CLICK) {
      drag.moved = true;
      stage.setPointerCapture(event.pointerId);
      stage.classList.add("dragging");
    }
    if (!drag.moved) return;
    if (drag.tip) dragTip(drag.tip, place(event));
    else if (drag.pin?.dataset.move) drag.pin.setAttribute("transform", pinTransform(place(event)));
    else pan(now.x - before.x, now.y - before.y);
  });

  function pinch(id, before, now) {
    const other = [...pointers].find(([key]) => key !== id)[1];
    const box = stage.getBoundingClientRect();
    const apart = (a) => Math.hypot(a.x - other.x, a.y - other.y);
    zoom(apart(now) / Math.max(apart(before), 1), (now.x + other.x) / 2 - box.left, (now.y + other.y) / 2 - box.top);
    pan((now.x - before.x) / 2, (now.y - before.y) / 2);
  }

  // A mark that was dragged nowhere it can stay stands again where it was.
  function putBack() {
    if (drag?.moved && drag.tip) drawArrow(drag.tip.closest(".fade"), beginning(drag.tip.closest(".fade")), drag.from);
    else if (drag?.moved && drag.pin?.dataset.move) drag.pin.setAttribute("transform", drag.from);
    stage.classList.remove("dragging");
  }

  function release(event) {
    pointers.delete(event.pointerId);
    if (!drag || drag.id !== event.pointerId) return;
    const { pin, tip, moved } = drag;
    const at = place(event);
    if (event.type !== "pointerup" || !onPage(at)) putBack();
    drag = null;
    stage.classList.remove("dragging");
    if (event.type !== "pointerup") return;
    if (tip) {
      if (moved && onPage(at)) pointTip(tip, at);
    } else if (moved && pin?.dataset.move && onPage(at)) moveMark(pin, at);
    else if (!moved && pin) openMark(pin);
    else if (!moved) placeNew(at);
  }
  stage.addEventListener("pointerup", release);
  stage.addEventListener("pointercancel", release);

  // A pin is a link for those without this script; here a pointer or Enter opens it in place.
  stage.addEventListener("click", (event) => {
    const pin = event.target.closest("[data-mark]");
    if (!pin) return;
    event.preventDefault();
    if (event.detail === 0) openMark(pin);
  });
  stage.addEventListener("dragstart", (event) => event.preventDefault());

  stage.addEventListener("wheel", (event) => {
    event.preventDefault();
    const box = stage.getBoundingClientRect();
    zoom(Math.exp(-event.deltaY * (event.deltaMode ? 0.05 : 0.0015)), event.clientX - box.left, event.clientY - box.top);
  }, { passive: false });

  const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
  let nudging = null; // what keys are moving: how to find it again, where it goes, what saves it, and the timer

  function nudged(selector, at, save) {
    if (nudging?.selector === selector) clearTimeout(nudging.timer);
    else saveNudge();
    nudging = { selector, at, save, timer: setTimeout(saveNudge, 500) };
  }

  // Looked up anew when it is saved: the server may have drawn all marks again since the key was pressed.
  function saveNudge() {
    if (!nudging) return;
    const { selector, at, save, timer } = nudging;
    nudging = null;
    clearTimeout(timer);
    const found = overlay().querySelector(selector);
    if (found) save(found, at);
  }

  function nudgeTip(tip, [dx, dy]) {
    const now = tipAt(tip);
    const at = { x: now.x / size.width + dx * NUDGE, y: now.y / size.height + dy * NUDGE };
    if (!onPage(at)) return;
    dragTip(tip, at);
    nudged(selectorOf(tip), at, pointTip);
  }

  function nudge(pin, [dx, dy]) {
    const now = pin.transform.baseVal.consolidate().matrix;
    const at = { x: now.e / size.width + dx * NUDGE, y: now.f / size.height + dy * NUDGE };
    if (!onPage(at)) return;
    pin.setAttribute("transform", pinTransform(at));
    nudged(selectorOf(pin), at, moveMark);
  }

  // Marks drawn anew lose the focus; whoever moves one by keys gets it back.
  const selectorOf = ({ dataset }) => (dataset.tip ? `[data-tip="${dataset.tip}"]` : `[data-mark="${dataset.mark}"]`);
  let focused = null;
  document.addEventListener("htmx:oobBeforeSwap", (event) => {
    if (event.detail.target.id !== "overlay") return;
    const holder = document.activeElement?.closest?.("[data-mark], [data-tip]");
    focused = holder ? selectorOf(holder) : null;
  });
  document.addEventListener("htmx:oobAfterSwap", () => {
    if (focused) overlay().querySelector(focused)?.focus({ preventScroll: true });
    focused = null;
  });

  function toggleMarks() {
    const hidden = stage.classList.toggle("marks-hidden");
    document.querySelector('[data-view="marks"]').setAttribute("aria-pressed", String(!hidden));
  }

  const DEEDS = { closer: () => zoom(STEP), farther: () => zoom(1 / STEP), whole: fit, marks: toggleMarks };
  const KEYS = { "+": "closer", "=": "closer", "-": "farther", 0: "whole", m: "marks", M: "marks" };

  stage.addEventListener("keydown", (event) => {
    const pin = event.target.closest?.("[data-mark]");
    const arrow = ARROWS[event.key];
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const tip = event.target.closest?.("[data-tip]");
    if (arrow && tip) nudgeTip(tip, arrow);
    else if (arrow && pin?.dataset.move) nudge(pin, arrow);
    else if (arrow) pan(-arrow[0] * 60, -arrow[1] * 60);
    else if (KEYS[event.key]) DEEDS[KEYS[event.key]]();
    else if (event.key === "Enter" && event.target === stage) {
      placeNew({
        x: (stage.clientWidth / 2 - view.x) / view.scale / size.width,
        y: (stage.clientHeight / 2 - view.y) / view.scale / size.height,
      });
    } else return;
    event.preventDefault();
  });

  for (const button of document.querySelectorAll("[data-view]")) {
    button.addEventListener("click", () => DEEDS[button.dataset.view]());
  }

  new ResizeObserver(() => { if (!touched) fit(); }).observe(stage);
  stage.classList.add("live");
  fit();

  // A mark that somebody came for is shown close up.
  const chosen = overlay().querySelector(".pin-chosen");
  if (chosen) {
    const at = chosen.transform.baseVal.consolidate().matrix;
    const scale = Math.min(Math.max(whole() * 2, 0.5), 1);
    view = { scale, x: stage.clientWidth / 2 - at.e * scale, y: stage.clientHeight / 2 - at.f * scale };
    touched = true;
    show();
  }
})();
