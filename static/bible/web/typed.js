// A form that was sent after its session had ended: what was typed stands in it again once somebody is signed in.
// Kept by this window alone, for the same person, until any other page is opened.
"use strict";

(() => {
  const NAME = "typed-before";
  const NEVER = ["hidden", "file", "password", "submit", "button"];
  const person = document.querySelector(".who")?.textContent.trim() ?? "";
  const here = location.pathname + location.search;
  const keep = (kept) => sessionStorage.setItem(NAME, JSON.stringify(kept));
  const addressOf = (form) => form.getAttribute("action") || here;
  const fieldsOf = (form) => [...form.elements].filter((field) => field.name && !NEVER.includes(field.type));

  function word(text, place) {
    const said = Object.assign(document.createElement("p"), { className: "note", textContent: text });
    said.setAttribute("role", "status");
    place.before(said);
    return said;
  }

  document.addEventListener("submit", ({ target: form }) => {
    if (form.method !== "post" || !form.closest("#main") || form.querySelector("[type=password]")) return;
    const typed = fieldsOf(form).map(({ name, type, value, checked }) => [name, /checkbox|radio/.test(type) ? checked : value]);
    keep({ here, address: addressOf(form), person, typed });
  });

  const stored = () => JSON.parse(sessionStorage.getItem(NAME) || "null");
  document.addEventListener("htmx:responseError", ({ detail }) => {
    if (stored() && [401, 403].includes(detail.xhr.status)) keep({ ...stored(), door: true });
  });

  const kept = stored();
  if (!kept) return;
  const tooOld = document.querySelector("[data-too-old]");
  if (tooOld || "signedOut" in document.body.dataset) {
    keep({ ...kept, door: true });
    const place = tooOld ?? document.querySelector("#main form");
    if (!place) return;
    const said = word("What you typed is kept in this window, and nothing of it is saved yet. ", place);
    if (tooOld) said.append(Object.assign(document.createElement("a"), { href: kept.here, textContent: "Open the form again" }));
    else said.append("It stands in its form again once you are signed in.");
    return;
  }
  sessionStorage.removeItem(NAME);
  const names = kept.typed.map(([name]) => name).join();
  const isIt = (form) => addressOf(form) === kept.address && fieldsOf(form).map(({ name }) => name).join() === names;
  const form = kept.door && kept.person === person && kept.here === here && [...document.querySelectorAll("#main form")].find(isIt);
  if (!form) return;
  for (let folded = form.closest("details"); folded; folded = folded.parentElement.closest("details")) folded.open = true;
  fieldsOf(form).forEach((field, place) => {
    const value = kept.typed[place][1];
    if (typeof value === "boolean") field.checked = value;
    else field.value = value;
    for (const kind of ["input", "change"]) field.dispatchEvent(new Event(kind, { bubbles: true }));
  });
  word("What you typed before you were signed out stands here again; nothing of it is saved yet.", form);
  fieldsOf(form).find((field) => field.checkVisibility())?.focus();
})();
