// A costume's codes typed as a table: swatches as one types, arrows between rows, pieces of a spreadsheet pasted in.
"use strict";

(() => {
  const form = document.querySelector("form.costume-table");
  if (!form) return;
  const body = form.querySelector("tbody");
  const total = form.querySelector("input[name$=TOTAL_FORMS]");
  const MOST = 200;

  // “B2 r3Y” is “YR3B2”: letters with their figures in one order, without case or spaces.
  const inks = (text) => (text.toUpperCase().replace(/\s+/g, "").match(/[A-Z]\d*|\S/g) || []).sort().join(" ");
  const fills = new Map(Object.entries(JSON.parse(document.getElementById("fills").textContent)).map(([code, fill]) => [inks(code), fill]));

  function paint(field) {
    const swatch = field.parentElement.querySelector("svg.swatch");
    if (!swatch) return;
    // “B to W downwards” has two codes; where one cannot be read there is no swatch.
    const codes = field.value.replace(/[\s,;]+\S*wards[\s.]*$/i, "").split(/\s+to\s+|[>→]/i).map((code) => fills.get(inks(code)));
    const readable = codes.length < 3 && codes.every(Boolean);
    const squares = swatch.querySelectorAll("rect");
    swatch.classList.toggle("swatch-none", !readable);
    squares[0].setAttribute("fill", readable ? codes[0] : "none");
    squares[1]?.remove();
    if (readable && codes.length === 2) {
      const half = squares[0].cloneNode();
      for (const [name, value] of [["x", 12], ["width", 12], ["fill", codes[1]]]) half.setAttribute(name, value);
      swatch.append(half);
    }
  }

  const cells = (row) => [...row.querySelectorAll("input")];

  function newRow() {
    const at = Number(total.value);
    if (at >= MOST) return null;
    const row = body.lastElementChild.cloneNode(true);
    for (const wrong of row.querySelectorAll(".wrong")) wrong.remove();
    for (const field of cells(row)) {
      for (const name of ["name", "id"]) field.setAttribute(name, field.getAttribute(name).replace(/-\d+-/, `-${at}-`));
      field.value = "";
      field.removeAttribute("value");
      paint(field);
    }
    body.append(row);
    total.value = String(at + 1);
    return row;
  }

  function fill(field, text) {
    const lines = text.replace(/\r/g, "").replace(/\n$/, "").split("\n").map((line) => line.split("\t"));
    let row = field.closest("tr");
    const column = cells(row).indexOf(field);
    for (const line of lines) {
      if (!row) return;
      line.slice(0, cells(row).length - column).forEach((said, at) => {
        const cell = cells(row)[column + at];
        cell.value = said.trim();
        paint(cell);
      });
      row = row.nextElementSibling || newRow();
    }
  }

  form.addEventListener("input", (event) => {
    if (!body.contains(event.target)) return;
    paint(event.target);
    if (event.target.value && event.target.closest("tr") === body.lastElementChild) newRow();
  });
  form.addEventListener("paste", (event) => {
    const text = event.clipboardData.getData("text/plain");
    if (!body.contains(event.target) || !/[\t\n]/.test(text)) return;
    event.preventDefault();
    fill(event.target, text);
  });
  form.addEventListener("keydown", (event) => {
    if (!body.contains(event.target) || event.altKey || event.ctrlKey || event.metaKey) return;
    const row = event.target.closest("tr");
    const other = { ArrowDown: row.nextElementSibling, ArrowUp: row.previousElementSibling }[event.key];
    if (!other) return;
    event.preventDefault();
    const next = cells(other)[cells(row).indexOf(event.target)];
    next.focus();
    next.select();
  });
  for (const row of body.rows) cells(row).forEach(paint);
})();
