// What the desk draws itself, in a layer of its own: the cross, an arrow or a rectangle while it is drawn, marks kept.
"use strict";

(() => {
  const SVG = "http://www.w3.org/2000/svg";
  const layer = document.createElementNS(SVG, "svg");
  layer.setAttribute("class", "overlay desk-layer");
  layer.setAttribute("viewBox", `0 0 ${desk.size.width} ${desk.size.height}`);
  layer.setAttribute("aria-hidden", "true");
  desk.paper.append(layer);

  function element(name, attributes, parent = layer) {
    const made = document.createElementNS(SVG, name);
    for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
    parent.append(made);
    return made;
  }

  const transform = (at) => `translate(${at.x * desk.size.width} ${at.y * desk.size.height})`;
  const remove = (name) => { for (const one of layer.querySelectorAll(`.${name}`)) one.remove(); };

  function cross(name, at) {
    remove(name);
    if (!at) return;
    const shape = element("g", { class: "pin-shape" }, element("g", { class: name, transform: transform(at) }));
    for (const kind of ["halo", "line"]) element("path", { class: kind, d: "M-14 0H14M0 -14V14" }, shape);
  }

  function arrow(from, to) {
    remove("draft");
    if (!from) return;
    const [a, b] = [desk.pixels(from), desk.pixels(to)];
    const group = element("g", { class: "draft fade" });
    for (const kind of ["fade-halo", "fade-line"]) element("line", { class: kind, x1: a.x, y1: a.y, x2: b.x, y2: b.y }, group);
    const turn = (Math.atan2(b.y - a.y, b.x - a.x) * 180) / Math.PI;
    const tip = element("g", { class: "tip", transform: `translate(${b.x} ${b.y}) rotate(${turn})` }, group);
    element("path", { d: "M4 0-20-10V10z" }, element("g", { class: "pin-shape" }, tip));
  }

  function rectangle(from, to) {
    remove("draft");
    if (!from) return;
    const [a, b] = [desk.pixels(from), desk.pixels(to)];
    const box = { x: Math.min(a.x, b.x), y: Math.min(a.y, b.y), width: Math.abs(a.x - b.x), height: Math.abs(a.y - b.y) };
    element("rect", box, element("g", { class: "draft scene-area" }));
  }

  // An outline as far as it is set, with its corners; the last edge follows the pointer or the cross.
  function outline(corners, to) {
    remove("draft");
    if (!corners.length) return;
    const group = element("g", { class: "draft scene-area" });
    const points = [...corners, ...(to ? [to] : [])].map(desk.pixels);
    element("path", { d: `M${points.map(({ x, y }) => `${x} ${y}`).join("L")}${corners.length > 1 ? "Z" : ""}` }, group);
    for (const corner of corners) {
      const shape = element("g", { class: "pin-shape" }, element("g", { class: "corner", transform: transform(corner) }, group));
      element("rect", { x: -4, y: -4, width: 8, height: 8 }, shape);
    }
  }

  // Draws a saved arrow anew while its beginning or its point is dragged.
  function turnArrow(fade, from, to) {
    for (const line of fade.querySelectorAll("line")) {
      for (const [name, value] of [["x1", from.x], ["y1", from.y], ["x2", to.x], ["y2", to.y]]) line.setAttribute(name, value);
    }
    const turn = (Math.atan2(to.y - from.y, to.x - from.x) * 180) / Math.PI;
    fade.querySelector(".tip").setAttribute("transform", `translate(${to.x} ${to.y}) rotate(${turn})`);
  }

  // Marks that the server does not have yet.
  function kept(places) {
    remove("pin-kept");
    for (const at of places) {
      const shape = element("g", { class: "pin-shape" }, element("g", { class: "pin-kept", transform: transform(at) }));
      element("circle", { class: "pin-disc", r: 13 }, shape);
      element("text", { y: 5 }, shape).textContent = "…";
    }
  }

  desk.draw = {
    transform, arrow, rectangle, outline, turnArrow, kept,
    cursor: (at) => cross("desk-cursor", at),
    newMark: (at) => cross("pin-new", at),
    clearDraft: () => remove("draft"),
  };
})();
