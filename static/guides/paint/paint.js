// A code that the paint suggests goes into the mark form's field at a click; saving it stays the person's deed.
"use strict";

// From the code down to what the paint suggests, and back up; Tab leads past it to the part.
document.addEventListener("keydown", (event) => {
  const form = event.target.closest?.("form");
  if (!form || (event.key !== "ArrowDown" && event.key !== "ArrowUp")) return;
  const codes = Array.from(form.querySelectorAll("[data-paint-code]"));
  const field = form.querySelector("input[name=written]");
  const at = event.target === field ? -1 : codes.indexOf(event.target);
  if (!codes.length || (at < 0 && event.target !== field)) return;
  const next = at + (event.key === "ArrowDown" ? 1 : -1);
  if (next < -1 || next >= codes.length) return;
  (codes[next] ?? field).focus();
  event.preventDefault();
});

for (const trouble of ["htmx:sendError", "htmx:responseError", "htmx:timeout"]) {
  document.addEventListener(trouble, (event) => {
    const asked = event.target.closest?.(".paint-says")?.querySelector(".paint-asked");
    if (asked) asked.textContent = "The paint could not be asked just now; the mark needs none of it.";
  });
}

document.addEventListener("click", (event) => {
  const button = event.target.closest?.("[data-paint-code]");
  const field = button?.closest("form")?.querySelector("input[name=written]");
  if (!field) return;
  field.value = button.dataset.paintCode;
  field.dispatchEvent(new Event("input", { bubbles: true }));
  field.focus();
});
