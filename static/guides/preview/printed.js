// The printed page over the painted one: a button turns it on, a slider wipes from one to the other.
"use strict";

(() => {
  const tools = document.getElementById("print-tools");
  const paper = document.getElementById("paper");
  if (!tools || !paper) return;
  const [button, wipe] = [tools.querySelector("button"), tools.querySelector("input")];
  const facts = document.getElementById("print-facts");
  let print = null;

  const clip = () => { print.style.clipPath = `inset(0 0 0 ${100 - Number(wipe.value)}%)`; };

  function load() {
    print = new Image();
    print.className = "print";
    print.alt = "The page in its printed tints";
    print.draggable = false;
    tools.dataset.state = "working";
    print.addEventListener("load", () => { tools.dataset.state = "shown"; });
    print.addEventListener("error", () => { tools.dataset.state = "failed"; });
    refresh();
    paper.querySelector("img").after(print);
  }

  // Marks change the print; the server says “unchanged” where they did not.
  function refresh() {
    print.src = `${tools.dataset.picture}?${Date.now()}`;
    if (facts) htmx.ajax("GET", tools.dataset.facts, { target: "#print-facts", swap: "innerHTML" });
  }

  function toggle(on) {
    button.setAttribute("aria-pressed", String(on));
    wipe.hidden = !on;
    if (on && !print) load();
    if (print) print.hidden = !on;
    if (on) clip();
  }

  button.hidden = false;
  button.addEventListener("click", () => toggle(button.getAttribute("aria-pressed") !== "true"));
  wipe.addEventListener("input", clip);
  document.addEventListener("htmx:afterSettle", (event) => {
    if (event.target.id === "overlay" && print && !print.hidden) refresh();
  });
})();
