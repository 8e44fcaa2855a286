// Arrow keys move through the matrix: one stop for the Tab key instead of one for every number.
"use strict";

document.querySelectorAll("table[data-matrix]").forEach((table) => {
  const target = (cell) => cell.querySelector("a") || cell;
  const cellOf = (element) => element.closest("td, th");
  let here = null;

  const stop = (cell) => {
    if (!cell) return;
    if (here) target(here).tabIndex = -1;
    here = cell;
    target(cell).tabIndex = 0;
  };

  // Only in reach of the Tab key where it stands; the others keep their links for the pointer.
  table.querySelectorAll("a").forEach((link) => { link.tabIndex = -1; });
  table.setAttribute("role", "grid");
  stop(table.tBodies[0]?.rows[0]?.cells[0]);

  const moves = {
    ArrowLeft: (row, column) => [row, column - 1],
    ArrowRight: (row, column) => [row, column + 1],
    ArrowUp: (row, column) => [row - 1, column],
    ArrowDown: (row, column) => [row + 1, column],
    Home: (row, column, event) => [event.ctrlKey ? 0 : row, 0],
    End: (row, column, event) => [event.ctrlKey ? table.rows.length - 1 : row, table.rows[row].cells.length - 1],
    PageUp: (row, column) => [Math.max(row - 10, 0), column],
    PageDown: (row, column) => [Math.min(row + 10, table.rows.length - 1), column],
  };

  table.addEventListener("keydown", (event) => {
    const cell = cellOf(event.target);
    const move = moves[event.key];
    if (!cell || !move || event.altKey || event.metaKey) return;
    const [row, column] = move(cell.parentElement.rowIndex, cell.cellIndex, event);
    const next = table.rows[row]?.cells[column];
    event.preventDefault();
    if (!next) return;
    stop(next);
    target(next).focus({ preventScroll: true });
    next.scrollIntoView({ block: "nearest", inline: "nearest" });
  });

  table.addEventListener("focusin", (event) => stop(cellOf(event.target)));

  // Two columns are ticked in their headings and compared; a third takes the place of the first.
  const tools = document.querySelector(".matrix-tools");
  const compare = tools?.querySelector("[data-matrix-compare]");
  const runOf = (box) => new URLSearchParams(box.parentElement.querySelector("a").search).get("issues");
  const picked = [];
  function pick(box) {
    if (box.checked) picked.push(box);
    else picked.splice(picked.indexOf(box), 1);
    if (picked.length > 2) picked.shift().checked = false;
    compare.hidden = picked.length < 2;
    if (compare.hidden) return;
    const [before, after] = [...picked].sort((one, other) => one.parentElement.cellIndex - other.parentElement.cellIndex).map(runOf);
    const asked = new URLSearchParams(location.search);
    for (const name of ["issues", "columns"]) asked.delete(name);
    asked.set("before", before);
    asked.set("after", after);
    compare.href = `${compare.dataset.matrixCompare}?${asked}`;
    compare.textContent = `Compare ${before} with ${after}`;
  }
  if (compare) {
    for (const link of table.tHead.querySelectorAll("a")) {
      const box = Object.assign(document.createElement("input"), { type: "checkbox", tabIndex: -1 });
      box.setAttribute("aria-label", `Pick ${link.textContent} to compare`);
      box.addEventListener("change", () => pick(box));
      link.after(box);
    }
    table.tHead.addEventListener("keydown", (event) => {
      const box = cellOf(event.target)?.querySelector("input");
      if (event.key !== " " || !box || event.target === box) return;
      event.preventDefault();
      box.click();
    });
  }

  // The whole table at once, each use a dot of its shade; pressing anywhere looks closer, there.
  const scroller = table.closest(".matrix-scroll");
  const whole = tools?.querySelector("[data-matrix-whole]");
  function show(all) {
    whole.setAttribute("aria-pressed", String(all));
    if (all) {
      const columns = table.tHead.querySelectorAll("a").length;
      const width = (scroller.clientWidth - 140) / columns, height = (innerHeight - 110) / table.tBodies[0].rows.length;
      scroller.style.setProperty("--dot-width", `${Math.max(3, Math.min(26, width))}px`);
      scroller.style.setProperty("--dot-height", `${Math.max(4, Math.min(26, height))}px`);
    }
    scroller.classList.toggle("whole", all);
    if (all) scroller.scrollIntoView({ block: "start" });
  }
  whole?.addEventListener("click", () => show(whole.getAttribute("aria-pressed") !== "true"));
  table.addEventListener("click", (event) => {
    if (!scroller.classList.contains("whole")) return;
    event.preventDefault();
    show(false);
    cellOf(event.target)?.scrollIntoView({ block: "center", inline: "center" });
  });
});
