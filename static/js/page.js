// What every page needs: a field that was refused gets the focus after a swap.
"use strict";

document.addEventListener("htmx:afterSettle", (event) => {
  event.target.querySelector?.(".field-wrong input, .field-wrong select")?.focus({ preventScroll: true });
});
