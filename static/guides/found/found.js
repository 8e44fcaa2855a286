// Codes that were found on the page: keys for the answers, a place on the picture that is asked about, a code that is moved.
"use strict";

(() => {
  const { stage } = desk;
  const WRITING = "textarea, select, [contenteditable], input:not([type=range]):not([type=hidden]):not([type=checkbox])";
  const FAR = 6; // pixels from which a pointer that moves drags
  const box = () => document.getElementById("found");
  const moving = () => box()?.querySelector('[data-found-move] button[aria-pressed="true"]') ?? null;
  let hadFocus = false; // was an answer given from within the box, so that the next one is given there?

  function move(on) {
    const button = box()?.querySelector("[data-found-move] button");
    button?.setAttribute("aria-pressed", String(on));
    document.body.classList.toggle("found-moving", on && Boolean(button));
    if (on) stage.focus({ preventScroll: true });
  }

  // Where the code means, when its place is being shown.
  function placed(event) {
    const button = moving();
    if (!button) return;
    event.preventDefault();
    event.stopPropagation();
    if (event.type !== "click") return;
    const at = desk.ontoPage(desk.place(event));
    const form = button.form;
    form.elements.x.value = at.x;
    form.elements.y.value = at.y;
    move(false);
    hadFocus = true;
    form.requestSubmit();
  }

  let held = null; // a place that is being dragged to where its code means: {place, from, far}

  // A place that is dragged answers: as proposed, but there.
  function dragged(event) {
    if (!held) return;
    event.preventDefault();
    event.stopPropagation();
    held.far ||= Math.hypot(event.clientX - held.from.x, event.clientY - held.from.y) > FAR;
    if (event.type === "pointermove") {
      if (!held.far) return;
      const at = desk.ontoPage(desk.place(event));
      held.place.setAttribute("transform", `translate(${at.x * stage.dataset.width} ${at.y * stage.dataset.height})`);
      return;
    }
    const { place, far } = held;
    held = null;
    document.body.classList.remove("found-dragged");
    if (!far || event.type === "pointercancel") return;
    skip = true;
    setTimeout(() => { skip = false; });
    const form = document.getElementById("found-moved");
    const at = desk.ontoPage(desk.place(event));
    form.action = place.dataset.answer;
    for (const [name, value] of Object.entries({ saying: place.dataset.saying, x: at.x, y: at.y })) form.elements[name].value = value;
    hadFocus = true;
    form.requestSubmit();
  }

  let skip = false; // the click that ends a drag is no question

  function asks(event) {
    const place = event.target.closest?.("[data-found]");
    if (!place || moving()) return;
    event.preventDefault();
    event.stopPropagation();
    if (event.type === "pointerdown" && event.isPrimary && event.button === 0 && place.dataset.answer) {
      held = { place, from: { x: event.clientX, y: event.clientY }, far: false };
      document.body.classList.add("found-dragged");
    }
    if (event.type !== "click" || skip) return;
    hadFocus = true;
    htmx.ajax("GET", place.dataset.found, { target: "#found", swap: "outerHTML" });
  }

  for (const kind of ["pointermove", "pointerup", "pointercancel"]) window.addEventListener(kind, dragged, true);
  for (const kind of ["pointerdown", "pointerup", "click"]) {
    stage.addEventListener(kind, (event) => { placed(event); asks(event); }, true);
  }

  document.addEventListener("click", (event) => {
    if (event.target.closest?.("[data-found-move] button")) move(!moving());
    if (event.target.closest?.("#found button")) hadFocus = true;
  });

  // Keys that begin no code answer from anywhere but where somebody writes: figures, and letters that the series does
  // not code with. The others begin codes on the page, so they answer only within the box.
  const beginsCode = (key) => /^\p{L}$/u.test(key) && (stage.dataset.codeLetters ?? "").includes(key.toUpperCase());
  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey || event.repeat || event.isComposing) return;
    if (event.target.closest?.(`${WRITING}, dialog`) || document.querySelector("dialog[open]")) return;
    if (event.key === "Escape" && moving()) move(false);
    if (beginsCode(event.key) && !box()?.contains(event.target)) return;
    const found = box()?.querySelector(`[data-found-key="${CSS.escape(event.key.toLowerCase())}"]`);
    if (!found) return;
    event.preventDefault();
    hadFocus = true;
    found.click();
  }, true); // before the page takes a letter for a code

  function shown() {
    const asked = document.querySelector("#overlay .found-asked");
    if (asked && hadFocus) desk.follow({ x: Number(asked.dataset.x), y: Number(asked.dataset.y) });
    if (!hadFocus) return;
    hadFocus = false;
    const next = box()?.querySelector(".found-choices button, .found-more button, .found-look-over button, button:not([hidden] *, .found-cast *)");
    (next ?? stage).focus({ preventScroll: true });
  }

  document.addEventListener("htmx:oobAfterSwap", (event) => { if (event.detail.target.id === "found") setTimeout(shown); });
  document.addEventListener("htmx:afterSwap", (event) => { if (event.detail.target?.id === "found") shown(); });
})();
