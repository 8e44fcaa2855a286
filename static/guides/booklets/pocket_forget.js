// What the pocket look-up keeps in this browser goes when somebody signs out, and wherever nobody is signed in.
"use strict";

async function forgetPockets() {
  if (!("caches" in window) || !("serviceWorker" in navigator)) return;
  for (const name of await caches.keys()) {
    if (name.startsWith("pocket:")) await caches.delete(name);
  }
  for (const one of await navigator.serviceWorker.getRegistrations()) {
    if (/\/(pocket|look-up)\/$/.test(new URL(one.scope).pathname)) await one.unregister();
  }
}

document.addEventListener("DOMContentLoaded", () => {
  if ("signedOut" in document.body.dataset) forgetPockets();
  document.querySelector("form.sign-out")?.addEventListener("submit", () => forgetPockets());
});
