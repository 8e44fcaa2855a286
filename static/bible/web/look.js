// The greys are changed on the spot, so that nothing typed is lost; without this the form goes to the server and back.
"use strict";

for (const form of document.querySelectorAll(".themes")) {
  form.addEventListener("submit", (event) => {
    const chosen = event.submitter;
    if (!chosen?.value) return;
    event.preventDefault();
    const said = new FormData(form, chosen);
    said.delete("next"); // the answer's page is not looked at
    const show = (theme) => {
      document.documentElement.dataset.theme = theme;
      for (const button of form.elements.theme) button.setAttribute("aria-pressed", String(button.value === theme));
    };
    const before = document.documentElement.dataset.theme;
    show(chosen.value);
    fetch(form.action, { method: "POST", body: said, redirect: "manual" })
      .then((answer) => answer.type === "opaqueredirect" || show(before)) // kept is answered by a redirect; else it isn't
      .catch(() => show(before));
  });
}

// The person's menu is put away by Escape, and by whatever is done elsewhere.
(() => {
  const menu = document.querySelector(".person-menu");
  for (const kind of ["pointerdown", "focusin"]) document.addEventListener(kind, (event) => { if (menu && !menu.contains(event.target)) menu.open = false; });
  menu?.addEventListener("keydown", (event) => {
    if (event.key !== "Escape" || !menu.open) return;
    menu.open = false;
    menu.querySelector("summary").focus();
  });
})();

// The map of keys lies over the page: at the “?” key, or at the link that leads to it as a page of its own.
(() => {
  const map = document.getElementById("keys-map");
  const link = document.querySelector("a[data-keys]");
  if (!map || !link) return;
  const body = map.querySelector(".keys-map-body");
  const OFF = "keys-map-off"; // kept in this browser: whoever speaks or types by machine may want no single key to act
  const TEXT = "textarea, select, [contenteditable], input:not([type=checkbox], [type=radio], [type=range], [type=button], [type=submit])";

  function switchesIn(part) {
    for (const box of part.querySelectorAll("[data-keys-switch]")) {
      box.closest("[hidden]")?.removeAttribute("hidden");
      box.checked = !localStorage.getItem(OFF);
      box.addEventListener("change", () => (box.checked ? localStorage.removeItem(OFF) : localStorage.setItem(OFF, "1")));
    }
  }

  // What works on this page comes first.
  async function fetched() {
    const answer = await fetch(`${link.href}?alone`);
    if (!answer.ok) throw new Error(String(answer.status));
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const parts = [...page.body.children];
    const here = parts.filter((part) => part.dataset.keysAt && document.querySelector(part.dataset.keysAt));
    body.replaceChildren(...here, ...parts.filter((part) => !here.includes(part)));
    switchesIn(body);
  }

  async function open() {
    try {
      if (!body.children.length) await fetched();
    } catch {
      location.assign(link.href);
      return;
    }
    if (!map.open) map.showModal();
  }

  link.addEventListener("click", (event) => {
    if (event.ctrlKey || event.metaKey || event.shiftKey) return;
    event.preventDefault();
    open();
  });
  map.querySelector("[data-close]").addEventListener("click", () => map.close());
  map.addEventListener("click", (event) => { if (event.target === map) map.close(); });
  document.addEventListener("keydown", (event) => {
    if (event.key !== "?" || event.ctrlKey || event.metaKey || event.altKey || event.isComposing) return;
    if (event.target.closest?.(TEXT) || localStorage.getItem(OFF)) return;
    event.preventDefault();
    if (map.open) map.close();
    else open();
  });
  switchesIn(document.getElementById("main"));

  // “/” opens the one search, from wherever nothing is being typed; Escape leaves it.
  const search = document.querySelector(".search input");
  document.addEventListener("keydown", (event) => {
    if (event.key === "Escape" && document.activeElement === search) search.blur();
    if (event.key !== "/" || event.defaultPrevented || event.ctrlKey || event.metaKey || event.altKey || event.isComposing) return;
    if (!search || event.target.closest?.(TEXT) || document.querySelector("dialog[open]") || localStorage.getItem(OFF)) return;
    event.preventDefault();
    search.select();
    search.focus();
  });
})();
