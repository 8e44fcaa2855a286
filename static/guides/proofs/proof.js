// Guide, prediction and proof (or plate): one place and one size for all; side by side, wiped or blinked.
"use strict";

(() => {
  const desk = document.getElementById("proof-desk");
  if (!desk) return;
  const panes = document.getElementById("proof-panes");
  const wipe = document.getElementById("proof-wipe");
  const against = document.getElementById("proof-against");
  const shown = document.getElementById("proof-shown");
  const size = { width: Number(panes.dataset.width), height: Number(panes.dataset.height) };
  const all = Object.fromEntries([...panes.querySelectorAll("[data-pane]")].map((pane) => [pane.dataset.pane, pane]));
  const BEAT = 900; // milliseconds: slow enough never to flash
  let mode = "side";
  let proofOnTop = true;
  let timer = null;
  let view = { scale: 1, x: 0.5, y: 0.5 }; // what is in the middle, in fractions of the page; scale 1 shows it whole

  const frame = () => all.top.querySelector(".proof-window");

  function show() {
    const { clientWidth, clientHeight } = frame();
    const scale = Math.min(clientWidth / size.width, clientHeight / size.height) * view.scale;
    const left = clientWidth / 2 - view.x * size.width * scale;
    const top = clientHeight / 2 - view.y * size.height * scale;
    for (const pane of Object.values(all)) {
      pane.querySelector("img").style.transform = `translate(${left}px, ${top}px) scale(${scale})`;
    }
    all.top.style.clipPath = mode === "wipe" ? `inset(0 0 0 ${100 - Number(wipe.value)}%)` : "";
    return scale;
  }

  function blinkTo(onTop) {
    proofOnTop = onTop;
    all.top.style.visibility = mode === "blink" && !onTop ? "hidden" : "";
    shown.textContent = mode === "blink" ? (onTop ? all.top.querySelector("figcaption").textContent : against.selectedOptions[0].text) : "";
    desk.dataset.shown = mode === "blink" ? (onTop ? "top" : against.value) : "";
  }

  function setMode(next) {
    mode = next;
    clearInterval(timer);
    timer = null;
    desk.classList.toggle("one", mode !== "side");
    desk.dataset.mode = mode;
    for (const [name, pane] of Object.entries(all)) pane.hidden = mode !== "side" && ![against.value, "top"].includes(name);
    panes.append(all.top); // the proof, or the plate, lies on top
    wipe.hidden = mode !== "wipe";
    for (const button of desk.querySelectorAll("[data-mode]")) button.setAttribute("aria-pressed", String(button.dataset.mode === mode));
    blinkTo(true);
    if (mode === "blink" && !matchMedia("(prefers-reduced-motion: reduce)").matches) timer = setInterval(() => blinkTo(!proofOnTop), BEAT);
    show();
  }

  function zoom(factor) {
    view.scale = Math.min(Math.max(view.scale * factor, 1), 24);
    if (view.scale === 1) view = { scale: 1, x: 0.5, y: 0.5 };
    show();
  }

  function pan(dx, dy) {
    const scale = show();
    const within = (value) => Math.min(Math.max(value, 0), 1);
    view.x = within(view.x - dx / (size.width * scale));
    view.y = within(view.y - dy / (size.height * scale));
    show();
  }

  const ZOOMS = { closer: () => zoom(1.4), farther: () => zoom(1 / 1.4), whole: () => zoom(0) };
  for (const button of desk.querySelectorAll("[data-zoom]")) button.addEventListener("click", ZOOMS[button.dataset.zoom]);
  for (const button of desk.querySelectorAll("[data-mode]")) button.addEventListener("click", () => setMode(button.dataset.mode));
  against.addEventListener("change", () => {
    const { picture } = against.selectedOptions[0].dataset;
    if (picture) {
      all.predicted.querySelector("img").src = picture;
      all.predicted.querySelector("figcaption").textContent = against.selectedOptions[0].text;
    }
    setMode(mode);
  });
  wipe.addEventListener("input", show);

  panes.addEventListener("wheel", (event) => {
    event.preventDefault();
    zoom(Math.exp(-event.deltaY * (event.deltaMode ? 0.05 : 0.0015)));
  }, { passive: false });
  let drag = null;
  panes.addEventListener("pointerdown", (event) => {
    if (event.button === 0 && event.target.closest(".proof-window")) drag = { id: event.pointerId, x: event.clientX, y: event.clientY };
  });
  addEventListener("pointermove", (event) => {
    if (drag?.id !== event.pointerId) return;
    pan(event.clientX - drag.x, event.clientY - drag.y);
    drag = { id: drag.id, x: event.clientX, y: event.clientY };
  });
  for (const name of ["pointerup", "pointercancel"]) addEventListener(name, () => { drag = null; });

  const ARROWS = { ArrowLeft: [60, 0], ArrowRight: [-60, 0], ArrowUp: [0, 60], ArrowDown: [0, -60] };
  const KEYS = {
    "+": ZOOMS.closer, "=": ZOOMS.closer, "-": ZOOMS.farther, 0: ZOOMS.whole,
    1: () => setMode("side"), 2: () => setMode("wipe"), 3: () => setMode("blink"),
    b: () => { if (mode !== "blink") setMode("blink"); clearInterval(timer); blinkTo(!proofOnTop); },
  };
  const plain = (event) => !(event.ctrlKey || event.metaKey || event.altKey);
  panes.addEventListener("keydown", (event) => {
    if (!plain(event)) return;
    const key = event.key.toLowerCase();
    if (ARROWS[event.key]) pan(...ARROWS[event.key]);
    else if (KEYS[key]) KEYS[key]();
    else return;
    event.preventDefault();
  });

  // What is looked at in the list of faults is shown here (proof_faults.js).
  document.addEventListener("look-at", ({ detail }) => {
    view = { scale: Math.max(view.scale, 5), x: detail.x, y: detail.y };
    show();
  });

  desk.classList.add("live");
  new ResizeObserver(show).observe(frame());
  setMode("side");
})();
