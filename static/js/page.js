// What every page needs: the field that waits for typing gets the focus after a swap.
"use strict";

document.addEventListener("htmx:afterSettle", (event) => {
  // A mark that was only moved wants no typing: whoever moves it by keys stays on it.
  if (event.detail.requestConfig?.path.endsWith("/move")) return;
  const wrong = event.target.querySelector?.(".field-wrong input, .field-wrong select");
  const first = event.target.id === "panel" ? event.target.querySelector(".mark-form input:not([type=hidden])") : null;
  (wrong || first)?.focus({ preventScroll: true });
});
