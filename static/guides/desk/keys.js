// Keys on the page: the cross and what Enter does there, the first letter of a code, marks moved by arrows, commands with
// Alt, and taking back.
"use strict";

(() => {
  const { stage } = desk;
  const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
  const NUDGE = 0.002; // of the page, per arrow key on a mark
  const STEP = 0.01; // of the page, per arrow key on the cross
  const FASTEST = 5; // times that, when the key has been held for a while
  const CLOSER = 1.25; // one press of a key or a button
  const PAN = 60; // pixels
  let cursor = null; // where Enter places: under the pointer, or at the cross
  let held = 0;

  // The pointer leads again; the cross goes.
  function pointAt(at) {
    cursor = at;
    desk.draw.cursor(null);
    if (desk.mayMark) desk.placing.hover(at);
  }

  function moveCross([dx, dy], repeat) {
    held = repeat ? held + 1 : 0;
    const step = STEP * Math.min(FASTEST, 1 + held / 6);
    const start = cursor ?? desk.centre();
    cursor = desk.ontoPage({ x: start.x + dx * step, y: start.y + dy * step * (desk.size.width / desk.size.height) });
    desk.draw.cursor(cursor);
    desk.follow(cursor);
    desk.placing.hover(cursor);
  }

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
    const found = desk.overlay().querySelector(selector);
    if (found) save(found, at);
  }

  const from = ({ x, y }, [dx, dy]) => ({ x: x / desk.size.width + dx * NUDGE, y: y / desk.size.height + dy * NUDGE });

  function nudgeTip(tip, arrow) {
    const at = from(desk.pointer.tipAt(tip), arrow);
    if (!desk.onPage(at)) return;
    desk.pointer.dragTip(tip, at);
    nudged(selectorOf(tip), at, desk.pointer.pointTip);
  }

  function nudge(pin, arrow) {
    const now = pin.transform.baseVal.consolidate().matrix;
    const at = from({ x: now.e, y: now.f }, arrow);
    if (!desk.onPage(at)) return;
    pin.setAttribute("transform", desk.draw.transform(at));
    nudged(selectorOf(pin), at, desk.pointer.moveMark);
  }

  // What is drawn anew loses the focus: whoever moves a mark by keys gets it back, and whoever takes steps has the next.
  const selectorOf = ({ dataset }) => (dataset.tip ? `[data-tip="${dataset.tip}"]` : `[data-mark="${dataset.mark}"]`);
  const HOLDERS = { overlay: "[data-mark], [data-tip]", "desk-steps": "[data-step]" };
  let focused = null;
  document.addEventListener("htmx:oobBeforeSwap", (event) => {
    const holder = document.activeElement?.closest?.(HOLDERS[event.detail.target.id] ?? "no-holder");
    if (!holder) return;
    const { step } = holder.dataset;
    focused = step ? [`[data-step="${step}"] button:enabled`, "[data-step] button:enabled", "#stage"] : [selectorOf(holder)];
  });
  document.addEventListener("htmx:oobAfterSwap", () => {
    const found = focused?.map((one) => document.querySelector(one)).find(Boolean);
    found?.focus({ preventScroll: true });
    focused = null;
  });

  function toggleMarks() {
    const hidden = stage.classList.toggle("marks-hidden");
    document.querySelector('[data-view="marks"]').setAttribute("aria-pressed", String(!hidden));
  }

  const VIEWS = { closer: () => desk.zoom(CLOSER), farther: () => desk.zoom(1 / CLOSER), whole: desk.fit, marks: toggleMarks };
  const KEYS = { "+": "closer", "=": "closer", "-": "farther", 0: "whole" };

  function remove(pin) {
    desk.send(`${pin.dataset.mark}delete`, {}, `Mark ${pin.querySelector("text").textContent} deleted`);
    stage.focus({ preventScroll: true });
  }

  // Letters by themselves are codes: commands take Alt. On some keyboards Alt makes another letter of a key.
  const COMMANDS = {
    g: () => desk.placing.setMode("arrow"),
    r: () => desk.placing.setMode("scene"),
    o: () => desk.placing.setMode("outline"),
    a: () => desk.placing.setMode("area"),
    d: () => desk.placing.closeOutline(),
    s: () => { if (desk.placing.isPrepared()) desk.placing.skip(); },
    c: () => desk.placing.copyOpen(),
    l: () => htmx.ajax("GET", stage.dataset.lastIssue, { target: "#panel", swap: "innerHTML" }),
    e: () => desk.panel.querySelector(".mark-form [name=written]")?.focus(),
  };
  const FOR_ALL = { m: toggleMarks, p: () => document.querySelector("#print-tools button").click() };
  const letterOf = ({ key, code }) => (/^[a-z]$/i.test(key) ? key : code.replace(/^Key/, "")).toLowerCase();
  const WRITING = "textarea, select, [contenteditable], input:not([type=range])";

  // A command from anywhere but where text is written.
  function command(event) {
    if (!event.altKey || event.ctrlKey || event.metaKey || event.target.closest?.(WRITING)) return;
    const deed = FOR_ALL[letterOf(event)] ?? (desk.mayMark && COMMANDS[letterOf(event)]);
    if (!deed) return;
    event.preventDefault();
    if (!event.repeat) deed();
  }

  // A figure means a part that is offered, unless a code that was found is asked about.
  const meansPart = (key) => desk.form.hasChip(key) && !document.querySelector("#found [data-found-key='1']");

  // A letter typed over the page, or a part's figure: with the focus there, or with the pointer there and the focus
  // where nobody writes.
  function beginsMark(event) {
    const writing = event.target.closest?.(`${WRITING}, dialog`);
    const over = !writing && (stage.contains(event.target) || stage.matches(":hover"));
    if (!desk.mayMark || !over || event.isComposing || event.repeat) return false;
    return /^\p{L}$/u.test(event.key) || meansPart(event.key);
  }

  document.addEventListener("keydown", (event) => {
    command(event);
    if (event.defaultPrevented || event.ctrlKey || event.metaKey || event.altKey || !beginsMark(event)) return;
    event.preventDefault();
    const letter = /\d/.test(event.key) ? "" : event.key;
    desk.placing.begin(cursor ?? desk.centre(), letter);
    if (!letter) desk.form.takeChip(event.key);
  });

  // Keys of those who mark; false where a key means nothing.
  function markingKey(event, pin) {
    if (event.key === "Enter" && event.target === stage) desk.placing.at(cursor ?? desk.centre());
    else if (event.key === "Escape") return desk.placing.leave();
    else if (event.key === "Backspace") return desk.placing.dropCorner();
    else if (event.key === "Delete" && pin?.dataset.move) remove(pin);
    else return false;
    return true;
  }

  stage.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const pin = event.target.closest?.("[data-mark]");
    const tip = event.target.closest?.("[data-tip]");
    const arrow = ARROWS[event.key];
    const view = KEYS[event.key];
    if (arrow && tip) nudgeTip(tip, arrow);
    else if (arrow && pin?.dataset.move) nudge(pin, arrow);
    else if (arrow && (event.shiftKey || !desk.mayMark)) desk.pan(-arrow[0] * PAN, -arrow[1] * PAN);
    else if (arrow) moveCross(arrow, event.repeat);
    else if (view) VIEWS[view]();
    else if (!desk.mayMark || !markingKey(event, pin)) return;
    event.preventDefault();
  });

  // Anywhere on the page but where text is written: that has its own way back.
  document.addEventListener("keydown", (event) => {
    if (!(event.ctrlKey || event.metaKey) || event.altKey || !desk.mayMark) return;
    const key = event.key.toLowerCase();
    if (key !== "z" && key !== "y") return;
    if (event.target.closest("textarea, select, input:not([type=range])")) return;
    const step = key === "y" || event.shiftKey ? "redo" : "undo";
    document.querySelector(`[data-step="${step}"]`)?.requestSubmit();
    event.preventDefault();
  });

  for (const button of document.querySelectorAll("[data-view]")) {
    button.addEventListener("click", () => VIEWS[button.dataset.view]());
  }

  desk.keys = { pointAt };
})();
