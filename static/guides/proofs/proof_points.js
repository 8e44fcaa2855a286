// Four points on two pictures: a click puts the chosen one, arrow keys move it; the number fields hold the truth.
"use strict";

(() => {
  const form = document.getElementById("points-form");
  if (!form) return;
  const field = (side, axis, number) => form.elements[`${side}${axis}${number}`];
  const limit = (value) => Math.min(Math.max(value, 0), 100);

  for (const picture of form.querySelectorAll(".points-picture")) {
    const side = picture.dataset.side;
    const frame = picture.querySelector(".points-window");
    const pins = [0, 1, 2, 3].map((number) => {
      const pin = document.createElement("button");
      pin.type = "button";
      pin.className = "point-pin";
      pin.textContent = String(number + 1);
      pin.setAttribute("aria-label", `Point ${number + 1} on the ${side === "g" ? "guide" : "scan"}; arrow keys move it`);
      frame.append(pin);
      return pin;
    });
    let chosen = 0;

    function draw() {
      pins.forEach((pin, number) => {
        pin.style.left = `${field(side, "x", number).value}%`;
        pin.style.top = `${field(side, "y", number).value}%`;
        pin.setAttribute("aria-pressed", String(number === chosen));
      });
    }

    function put(number, x, y) {
      field(side, "x", number).value = limit(x).toFixed(2);
      field(side, "y", number).value = limit(y).toFixed(2);
      draw();
    }

    pins.forEach((pin, number) => {
      pin.addEventListener("focus", () => { chosen = number; draw(); });
      pin.addEventListener("keydown", (event) => {
        const step = event.shiftKey ? 2 : 0.2;
        const [dx, dy] = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step] }[event.key] || [0, 0];
        if (!dx && !dy) return;
        put(number, Number(field(side, "x", number).value) + dx, Number(field(side, "y", number).value) + dy);
        event.preventDefault();
      });
    });
    frame.addEventListener("click", (event) => {
      if (event.target.closest(".point-pin")) return;
      const box = frame.getBoundingClientRect();
      put(chosen, ((event.clientX - box.left) / box.width) * 100, ((event.clientY - box.top) / box.height) * 100);
      chosen = (chosen + 1) % 4;
      draw();
    });
    form.addEventListener("input", draw);
    draw();
  }
})();
