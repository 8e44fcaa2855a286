// Where a click or a key leads: a mark, the arrow of a gradient, a scene's rectangle, outline or area, or what waits to be
// placed.
"use strict";

(() => {
  const { stage } = desk;
  const bar = document.createElement("p");
  bar.className = "prepared";
  bar.setAttribute("role", "status");
  bar.hidden = true;
  stage.before(bar);
  let mode = "mark";
  let from = null; // where an arrow or a rectangle begins
  let prepared = []; // what waits to be placed, in order
  let total = 0;
  let corners = []; // of an outline, as far as it is set
  const CLOSE = 14; // pixels of the screen from its first corner within which a click closes an outline
  const TINY = 0.004; // of the page: a drag shorter than this is a click

  const place = (at) => ({ x: at.x.toFixed(5), y: at.y.toFixed(5) });

  function setMode(next) {
    mode = next;
    from = null;
    corners = [];
    desk.draw.clearDraft();
    for (const button of document.querySelectorAll("[data-mode]")) {
      button.setAttribute("aria-pressed", String(button.dataset.mode === (SCENES[mode] ? "scene" : mode)));
    }
    if (mode !== "mark") {
      prepare([]);
      desk.closePanel(); // on a small screen it would lie over the words of the mode
    }
    const leaving = button("Leave it", "Esc", () => setMode("mark"));
    if (mode === "mark") say("");
    else if (mode === "arrow") say("Gradient: from the first code to the second. Drag, or Enter at both ends.", leaving);
    else {
      const others = Object.entries(SCENES).filter(([name]) => name !== mode);
      say(SCENES[mode].says, ...others.map(([name, { title, key }]) => button(title, key, () => setMode(name))), leaving);
    }
    if (mode !== "mark" && getComputedStyle(bar).position === "fixed") stage.scrollIntoView({ block: "nearest" });
  }

  // The ways to say where a scene holds.
  const SCENES = {
    scene: { title: "Rectangle", key: "Alt R", says: "Scene: drag its rectangle, or press Enter at two corners." },
    outline: { title: "Outline", key: "Alt O", says: "Scene: click corner after corner, or press Enter at them; the first one again closes it." },
    area: { title: "Area", key: "Alt A", says: "Scene: click an area of the page, or press Enter in it." },
  };

  const percent = (value) => (value * 100).toFixed(2);
  const askScene = (where) => htmx.ajax("GET", `${stage.dataset.drawScene}?${new URLSearchParams(where)}`, { target: "#panel", swap: "innerHTML" });

  function setCorner(where) {
    const [first] = corners;
    const off = first && Math.hypot(...["x", "y"].map((axis) => (desk.pixels(first)[axis] - desk.pixels(where)[axis]) * desk.scale()));
    if (corners.length > 2 && off < CLOSE) closeOutline();
    else if (!corners.length || off > 0) {
      corners.push(where);
      desk.draw.outline(corners);
      const done = button("Close it", "Alt D", closeOutline);
      const back = button("Last corner away", "Backspace", dropCorner);
      const rest = button("Leave it", "Esc", () => setMode("mark"));
      say(`Outline: ${corners.length} ${corners.length > 1 ? "corners" : "corner"}.`, ...(corners.length > 2 ? [done] : []), back, rest);
    }
  }

  function dropCorner() {
    if (mode !== "outline" || !corners.length) return false;
    corners.pop();
    if (corners.length) setCorner(corners.pop());
    else setMode("outline");
    return true;
  }

  function closeOutline() {
    if (mode !== "outline" || corners.length < 3) return;
    const set = corners;
    setMode("mark");
    desk.draw.outline(set);
    askScene({ outline: set.map(({ x, y }) => `${percent(x)},${percent(y)}`).join(" ") });
  }

  function say(text, ...buttons) {
    bar.replaceChildren(text, ...buttons.flatMap((one) => [" ", one]));
    bar.hidden = !text;
  }

  function drawn(a, b) {
    const [start, end] = [desk.ontoPage(a), desk.ontoPage(b)];
    const wasScene = mode === "scene";
    if (mode !== "mark") setMode("mark");
    if (Math.hypot(start.x - end.x, start.y - end.y) < TINY) return;
    if (wasScene) {
      desk.draw.rectangle(start, end);
      const edges = {
        left: percent(Math.min(start.x, end.x)), right: percent(Math.max(start.x, end.x)),
        top: percent(Math.min(start.y, end.y)), bottom: percent(Math.max(start.y, end.y)),
      };
      askScene(edges);
    } else {
      desk.draw.arrow(start, end);
      const tip = place(end);
      desk.form.open({ ...place(start), to_x: tip.x, to_y: tip.y }, "YR > Y2");
    }
  }

  // A click, or Enter, at a place of the page.
  function at(where) {
    if (!desk.onPage(where)) return;
    if (mode === "outline") { setCorner(where); return; }
    if (mode === "area") {
      setMode("mark");
      askScene({ at_x: where.x.toFixed(5), at_y: where.y.toFixed(5) });
      return;
    }
    if (mode !== "mark") {
      if (from) drawn(from, where);
      else from = where;
      return;
    }
    if (prepared.length) placePrepared(where);
    else desk.form.open(place(where));
  }

  // The first letter of a code, typed over the page, is where its mark begins; a part's figure begins one without.
  function begin(where, letter) {
    if (mode !== "mark") setMode("mark");
    desk.form.open({ ...place(desk.ontoPage(where)), written: letter });
  }

  function hover(where) {
    if (corners.length) desk.draw.outline(corners, where);
    if (!from) return;
    if (mode === "scene") desk.draw.rectangle(from, where);
    else desk.draw.arrow(from, where);
  }

  function placePrepared(where) {
    const { reach, ...said } = prepared.shift();
    const values = { ...said, ...place(where) };
    if (reach && values.to_written) {
      const end = place(desk.ontoPage({ x: where.x + reach[0], y: where.y + reach[1] }));
      [values.to_x, values.to_y] = [end.x, end.y];
    }
    desk.form.remember(values.part);
    desk.send(stage.dataset.newMark, values, `New mark: ${values.written} ${values.part}`.trim(), { placing: true });
    tell();
  }

  function button(text, key, deed) {
    const made = document.createElement("button");
    made.type = "button";
    made.className = "quiet";
    made.textContent = `${text} (${key})`;
    made.addEventListener("click", () => { deed(); stage.focus({ preventScroll: true }); });
    return made;
  }

  function tell() {
    if (!prepared.length) { say(""); return; }
    const [next] = prepared;
    const fade = next.to_written ? ` > ${next.to_written}` : "";
    const count = total > 1 ? ` ${total - prepared.length + 1} of ${total}` : "";
    say(`Next click places${count}: ${next.part || "background"} ${next.written}${fade}.`, button("Skip", "Alt S", skip), button("Stop", "Esc", () => prepare([])));
  }

  function skip() {
    prepared.shift();
    tell();
  }

  function prepare(rows) {
    prepared = [...rows];
    total = rows.length;
    tell();
    if (!rows.length) return;
    desk.closePanel();
    stage.focus({ preventScroll: true });
    stage.scrollIntoView({ block: "nearest" });
  }

  const saying = ({ dataset }) => ({ written: dataset.written, to_written: dataset.toWritten, part: dataset.part, role: dataset.role });

  document.addEventListener("click", (event) => {
    const copy = event.target.closest?.("[data-copy]");
    if (copy) prepare([JSON.parse(copy.dataset.saying)]);
    if (event.target.closest?.("[data-take-all]")) prepare(Array.from(document.querySelectorAll("[data-take]"), saying));
    const one = event.target.closest?.("[data-take]");
    if (one) {
      prepare([saying(one)]);
      event.preventDefault();
    }
    const chosen = event.target.closest?.("[data-mode]");
    if (chosen) {
      setMode(chosen.dataset.mode);
      stage.focus({ preventScroll: true });
    }
  });

  // Leaves what is going on, one thing at a time; false where nothing was.
  function leave() {
    if (prepared.length) prepare([]);
    else if (mode !== "mark") setMode("mark");
    else return false;
    return true;
  }

  desk.placing = {
    at, begin, hover, drawn, leave, skip, setMode, closeOutline, dropCorner,
    draws: (shift) => mode === "arrow" || mode === "scene" || (shift && mode === "mark" && !prepared.length),
    sketch: (a, b) => (mode === "scene" ? desk.draw.rectangle(a, b) : desk.draw.arrow(a, b)),
    isPrepared: () => prepared.length > 0,
    copyOpen: () => desk.panel.querySelector("[data-copy]")?.click(),
  };
})();
