// A code that the paint suggests goes into the mark form's field at a click; saving it stays the person's deed.
"use strict";

document.addEventListener("click", (event) => {
  const button = event.target.closest?.("[data-paint-code]");
  const field = button?.closest("form")?.querySelector("input[name=written]");
  if (!field) return;
  field.value = button.dataset.paintCode;
  field.dispatchEvent(new Event("input", { bubbles: true }));
  field.focus();
});
