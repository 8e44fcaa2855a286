// The areas of the page: the one under the pointer, the cross or a touched place, and the one the open mark codes.
// Outlines come when they are first needed, so that no page waits for them.
"use strict";

(() => {
  const { stage, paper, size } = desk;
  const SVG = "http://www.w3.org/2000/svg";
  const NEAR = [0, 2, 4, 8, 16]; // how far off a place, in steps of the outlines, its area is looked for: it may be on a line
  const pen = document.createElement("canvas").getContext("2d");
  let known = null; // {width, height, areas} once they are here
  let asked = false;
  let here = null; // the place whose area is lit, in fractions of the page

  const svg = document.createElementNS(SVG, "svg");
  svg.setAttribute("class", "areas");
  svg.setAttribute("aria-hidden", "true");
  const lit = (name) => {
    const group = document.createElementNS(SVG, "g");
    group.setAttribute("class", `area ${name}`);
    const paths = ["halo", "edge"].map((which) => {
      const path = document.createElementNS(SVG, "path");
      path.setAttribute("class", which);
      group.append(path);
      return path;
    });
    svg.append(group);
    return (area) => {
      group.dataset.area = area ? area.id : "";
      for (const path of paths) path.setAttribute("d", area ? area.d : "");
    };
  };
  const lightHere = lit("area-here");
  const lightChosen = lit("area-chosen");
  paper.querySelector("img").after(svg);

  const inside = (area, x, y) => {
    const [left, top, right, bottom] = area.box;
    if (x < left || x > right || y < top || y > bottom) return false;
    area.shape ??= new Path2D(area.d);
    return pen.isPointInPath(area.shape, x, y, "evenodd");
  };

  function areaAt({ x, y }) {
    for (const off of NEAR) {
      for (const [dx, dy] of off ? [[off, 0], [-off, 0], [0, off], [0, -off]] : [[0, 0]]) {
        const found = known.areas.find((area) => inside(area, x * known.width + dx, y * known.height + dy));
        if (found) return found;
      }
    }
    return null;
  }

  function placeOf(pin) {
    const at = pin.transform.baseVal.consolidate()?.matrix;
    return at ? { x: at.e / size.width, y: at.f / size.height } : null;
  }

  function light() {
    const pin = paper.querySelector(".pin-new") || paper.querySelector(".pin-chosen");
    const cross = paper.querySelector(".desk-cursor");
    if (!known) {
      if (pin || cross || here) ask();
      return;
    }
    const chosen = pin && placeOf(pin);
    lightChosen(chosen ? areaAt(chosen) : null);
    const at = (cross && placeOf(cross)) || here;
    const found = at && desk.onPage(at) ? areaAt(at) : null;
    lightHere(found && (cross || !found.paper) ? found : null);
  }

  async function ask() {
    if (asked) return;
    asked = true;
    try {
      const answer = await fetch(stage.dataset.areas, { credentials: "same-origin" });
      if (!answer.ok) return; // a page without its picture: nothing to light up
      known = await answer.json();
    } catch {
      asked = false; // the line broke: the next movement asks again
      return;
    }
    svg.setAttribute("viewBox", `0 0 ${known.width} ${known.height}`);
    svg.setAttribute("preserveAspectRatio", "none");
    svg.style.setProperty("--area-pen", `calc(var(--pin-scale, 1) * ${known.width / size.width})`);
    light();
  }

  let waiting = false;
  function soon() {
    if (waiting) return;
    waiting = true;
    requestAnimationFrame(() => { waiting = false; light(); });
  }

  const lookAt = (at) => { here = at; soon(); };
  stage.addEventListener("pointermove", (event) => { if (!event.buttons) lookAt(desk.place(event)); });
  stage.addEventListener("pointerdown", (event) => { if (event.pointerType !== "mouse") lookAt(desk.place(event)); });
  stage.addEventListener("pointerleave", (event) => { if (event.pointerType === "mouse") lookAt(null); });
  stage.addEventListener("focusin", (event) => {
    const pin = event.target.closest?.("[data-mark]");
    if (pin) lookAt(placeOf(pin));
  });
  // Marks are chosen, moved, placed and taken away by several scripts and by answers of the server.
  new MutationObserver(soon).observe(paper, { subtree: true, childList: true, attributes: true, attributeFilter: ["class", "transform"] });
  desk.areas = { light };
  soon();
})();
