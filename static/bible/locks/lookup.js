// When the line is cut while somebody looks up, the same question goes to the pocket's copy, which answers at this address.
"use strict";

document.body.addEventListener("htmx:sendError", (event) => {
  const form = document.querySelector("form.finder");
  if (!form || event.detail.elt !== form || !navigator.serviceWorker?.controller) return;
  location.assign(`${form.getAttribute("hx-get")}?${new URLSearchParams(new FormData(form))}`);
});
