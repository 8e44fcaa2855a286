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
    fetch(form.action, { method: "POST", body: said, redirect: "manual" }).catch(() => show(before));
  });
}
