// Where a click or a key leads: a mark, the arrow of a gradient, a scene's rectangle, or what waits to be placed.
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
  const TINY = 0.004; // of the page: a drag shorter than this is a click

  const place = (at) => ({ x: at.x.toFixed(5), y: at.y.toFixed(5) });

  function setMode(next) {
    mode = next;
    from = null;
    desk.draw.clearDraft();
    for (const button of document.querySelectorAll("[data-mode]")) {
      button.setAttribute("aria-pressed", String(button.dataset.mode === mode));
    }
    if (mode !== "mark") prepare([]);
    const what = { arrow: "Gradient: from the first code to the second. Drag, or Enter at both ends.", scene: "Scene: drag its rectangle, or press Enter at two corners." };
    if (mode === "mark") say("");
    else say(what[mode], button("Leave it", "Esc", () => setMode("mark")));
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
      const percent = (value) => (value * 100).toFixed(2);
      const edges = {
        left: percent(Math.min(start.x, end.x)), right: percent(Math.max(start.x, end.x)),
        top: percent(Math.min(start.y, end.y)), bottom: percent(Math.max(start.y, end.y)),
      };
      htmx.ajax("GET", `${stage.dataset.drawScene}?${new URLSearchParams(edges)}`, { target: "#panel", swap: "innerHTML" });
    } else {
      desk.draw.arrow(start, end);
      const tip = place(end);
      desk.form.open({ ...place(start), to_x: tip.x, to_y: tip.y }, "YR > Y2");
    }
  }

  // A click, or Enter, at a place of the page.
  function at(where) {
    if (!desk.onPage(where)) return;
    if (mode !== "mark") {
      if (from) drawn(from, where);
      else from = where;
      return;
    }
    if (prepared.length) placePrepared(where);
    else desk.form.open(place(where));
  }

  // The first letter of a code, typed over the page, is where its mark begins.
  function begin(where, letter) {
    if (mode !== "mark") setMode("mark");
    desk.form.open({ ...place(desk.ontoPage(where)), written: letter });
  }

  function hover(where) {
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
    at, begin, hover, drawn, leave, skip, setMode,
    draws: (shift) => mode !== "mark" || (shift && !prepared.length),
    sketch: (a, b) => (mode === "scene" ? desk.draw.rectangle(a, b) : desk.draw.arrow(a, b)),
    isPrepared: () => prepared.length > 0,
    copyOpen: () => desk.panel.querySelector("[data-copy]")?.click(),
  };
})();
