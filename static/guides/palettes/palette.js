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
});
