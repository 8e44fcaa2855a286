// What every page needs: the room one is in stands in sight, a field that was refused gets the focus after a swap, and
// an answer that could not be shown in its place is told in words.
"use strict";

// On narrow screens the rooms are scrolled sideways: the one that the page stands in is brought into sight.
for (const here of document.querySelectorAll(".rooms [aria-current]")) {
  const rooms = here.parentElement;
  rooms.scrollLeft = here.offsetLeft - rooms.offsetLeft - (rooms.clientWidth - here.offsetWidth) / 2;
}

// What was refused is where one goes on: the field, or the sentence where it is about none.
(() => {
  const field = document.querySelector("#main .field-wrong :is(input, select, textarea)");
  const words = document.querySelector("#main .refusal[role=alert]");
  if (words && !field) words.tabIndex = -1;
  if (document.activeElement === document.body) (field ?? words)?.focus();
})();

document.addEventListener("htmx:afterSettle", (event) => {
  event.target.querySelector?.(".field-wrong :is(input, select, textarea)")?.focus({ preventScroll: true });
});

// What was pressed may be gone with the answer: what stands in its place has the focus, unless the page gave it away.
(() => {
  let pressed = null;
  document.addEventListener("htmx:beforeRequest", (event) => {
    if (event.target.contains(document.activeElement)) pressed = document.activeElement;
  });
  document.addEventListener("htmx:afterSettle", (event) => setTimeout(() => {
    if (pressed && document.activeElement === document.body) {
      const came = event.detail.target?.isConnected ? event.detail.target : event.target;
      const next = [...came.querySelectorAll("button:enabled, a[href], input:enabled, textarea, summary")].find((one) => one.checkVisibility());
      (pressed.isConnected ? pressed : next)?.focus({ preventScroll: true });
    }
    pressed = null;
  }));
})();

(() => {
  function tell(words) {
    let list = document.querySelector("ul.messages");
    if (!list) {
      list = document.createElement("ul");
      list.className = "messages";
      list.setAttribute("role", "status");
      document.getElementById("main").prepend(list);
    }
    const item = document.createElement("li");
    item.textContent = words;
    item.className = "refused";
    list.querySelectorAll(".refused").forEach((old) => old.remove());
    list.append(item);
    list.scrollIntoView({ block: "nearest" });
  }

  // The server's own sentence, where the page that it would have shown has one: who may do this, what is not there.
  function sentence(xhr) {
    if ((xhr.getResponseHeader("Content-Type") || "").startsWith("text/html")) {
      const page = new DOMParser().parseFromString(xhr.responseText, "text/html");
      const told = page.querySelector("#main .sheet") || page.querySelector("#main h1");
      if (told?.textContent.trim()) return told.textContent.trim();
    }
    return `The server answered ${xhr.status}. Nothing was changed; load the page again.`;
  }

  // What only adds to a page says its own trouble in its place: nobody asked for it, and nothing moves for it.
  const tellsItself = (event) => event.target.closest?.("[data-tells-itself]");

  document.addEventListener("htmx:responseError", (event) => {
    if (!tellsItself(event)) tell(sentence(event.detail.xhr));
  });
  document.addEventListener("htmx:sendError", (event) => {
    if (!event.defaultPrevented && !tellsItself(event)) tell("No connection: nothing was changed. Try again in a moment.");
  });
})();

// A page that the browser shows again from its memory is asked for anew, unless something is typed or refused on it.
addEventListener("pageshow", (event) => {
  if (!event.persisted || document.querySelector("[role=alert]")) return;
  const typed = (field) => "defaultValue" in field && field.type !== "hidden" && field.value !== field.defaultValue;
  if (![...document.querySelectorAll("input, textarea")].some(typed)) location.replace(location.pathname + location.search);
});

// What a page asked for and nobody waits for any more is broken off when the page is left, without a word about it.
(() => {
  const asked = new Set();
  document.addEventListener("htmx:beforeSend", (event) => asked.add(event.detail.xhr));
  document.addEventListener("htmx:afterRequest", (event) => asked.delete(event.detail.xhr));
  addEventListener("pagehide", () => {
    for (const request of asked) {
      request.onload = request.onerror = request.onabort = request.ontimeout = null;
      request.abort();
    }
    asked.clear();
  });
})();

// A code that stands near the one that is typed is taken by pressing it, as if it had been typed.
document.addEventListener("click", (event) => {
  const near = event.target.closest?.("[data-takes-code]");
  const field = near?.closest("form")?.querySelector(".code-input");
  if (!field) return;
  field.value = near.dataset.takesCode;
  field.focus();
  for (const kind of ["input", "change"]) field.dispatchEvent(new Event(kind, { bubbles: true }));
});

// A place that a link leads to may lie in something folded: it is opened.
(() => {
  const there = location.hash && document.getElementById(decodeURIComponent(location.hash.slice(1)));
  const folded = there?.closest?.("details:not([open])");
  if (!folded) return;
  folded.open = true;
  there.scrollIntoView();
})();
