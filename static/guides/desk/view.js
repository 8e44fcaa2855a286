// The page on its stage: how large it is shown and where. The other scripts of the desk meet in `desk`.
"use strict";

const desk = (() => {
  const stage = document.getElementById("stage");
  const paper = document.getElementById("paper");
  const size = { width: Number(stage.dataset.width), height: Number(stage.dataset.height) };
  const LARGEST = 8; // pixels of the screen for one of the picture
  const MARGIN = 40; // pixels that the cross keeps from the stage's edge
  let view = { scale: 1, x: 0, y: 0 };
  let touched = false; // has the person chosen a view?

  const whole = () => Math.min(stage.clientWidth / size.width, stage.clientHeight / size.height);

  function show(next, chosen = true) {
    view = next;
    touched = chosen;
    paper.style.transform = `translate(${view.x}px, ${view.y}px) scale(${view.scale})`;
    stage.style.setProperty("--pin-scale", 1 / view.scale); // marks keep their size on the screen
  }

  function fit() {
    const scale = whole();
    show({ scale, x: (stage.clientWidth - size.width * scale) / 2, y: (stage.clientHeight - size.height * scale) / 2 }, false);
  }

  function zoom(factor, atX = stage.clientWidth / 2, atY = stage.clientHeight / 2) {
    const scale = Math.min(Math.max(view.scale * factor, whole() / 2), LARGEST);
    const ratio = scale / view.scale;
    show({ scale, x: atX - (atX - view.x) * ratio, y: atY - (atY - view.y) * ratio });
  }

  const pan = (dx, dy) => show({ ...view, x: view.x + dx, y: view.y + dy });

  // Pixels of the stage to fractions of the page.
  const fromStage = (x, y) => ({ x: (x - view.x) / view.scale / size.width, y: (y - view.y) / view.scale / size.height });

  function place(event) {
    const box = stage.getBoundingClientRect();
    return fromStage(event.clientX - box.left, event.clientY - box.top);
  }

  const centre = () => fromStage(stage.clientWidth / 2, stage.clientHeight / 2);
  const onPage = (at) => at.x >= 0 && at.x <= 1 && at.y >= 0 && at.y <= 1;
  const ontoPage = (at) => ({ x: Math.min(1, Math.max(0, at.x)), y: Math.min(1, Math.max(0, at.y)) });
  const pixels = (at) => ({ x: at.x * size.width, y: at.y * size.height });

  // The mark that is pointed at, on its place or on the card that says what it is.
  function pinAt(target) {
    const card = target.closest("[data-card]");
    return target.closest("[data-mark]") ?? (card && document.querySelector(`#overlay [data-mark="${card.dataset.card}"]`));
  }

  // Moves the page as little as it takes to see a place.
  function follow(at) {
    const x = view.x + at.x * size.width * view.scale;
    const y = view.y + at.y * size.height * view.scale;
    const short = (value, length) => (value < MARGIN ? MARGIN - value : value > length - MARGIN ? length - MARGIN - value : 0);
    const [dx, dy] = [short(x, stage.clientWidth), short(y, stage.clientHeight)];
    if (dx || dy) pan(dx, dy);
  }

  // Shows a place of the picture, in its pixels, close up.
  function closeUp({ x, y }) {
    const scale = Math.min(Math.max(whole() * 2, 0.5), 1);
    show({ scale, x: stage.clientWidth / 2 - x * scale, y: stage.clientHeight / 2 - y * scale });
  }

  // Moves the page up on its stage, or down again, without that being anybody's choice of a view.
  const lift = (pixels) => show({ ...view, y: view.y - pixels }, touched);
  const down = (at) => view.y + at.y * size.height * view.scale; // pixels from the stage's top to a place

  // How far down the page the stage begins: what is left of the window is its own (guide.css).
  const above = () => stage.style.setProperty("--above", `${Math.round(stage.getBoundingClientRect().top + scrollY)}px`);
  above();
  new ResizeObserver(above).observe(document.getElementById("main"));
  new ResizeObserver(() => { if (!touched) fit(); }).observe(stage);

  return {
    stage, paper, size, fit, zoom, pan, place, pinAt, centre, onPage, ontoPage, pixels, scale: () => view.scale, follow, closeUp, lift, down, MARGIN,
    mayMark: Boolean(stage.dataset.newMark),
    overlay: () => document.getElementById("overlay"),
    panel: document.getElementById("panel"),
  };
})();
