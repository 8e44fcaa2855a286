// On a small screen the panel is a sheet at the foot while it is open, and the page stays where it is. The picture moves
// up on its stage as far as it takes to see the place that is spoken of, and back again.
"use strict";

(() => {
  const sheet = document.getElementById("panel-sheet");
  let lifted = 0; // pixels
  let about = null; // the place that is spoken of, until somebody takes hold of the page

  function openPanel(at) {
    sheet.classList.add("open");
    about = at ?? about;
    keepInSight(about);
  }

  function keepInSight(at) {
    if (!at || getComputedStyle(sheet).position !== "fixed") return;
    const covered = sheet.getBoundingClientRect().top - desk.stage.getBoundingClientRect().top;
    const seen = Math.min(covered, desk.stage.clientHeight) - desk.MARGIN;
    const short = desk.down(at) - seen;
    if (short <= 0) return;
    if (seen < desk.MARGIN) { // next to nothing of the stage is in sight above the sheet: the page itself goes up
      scrollBy(0, short);
      return;
    }
    lifted += short;
    desk.lift(short);
  }

  function closePanel() {
    sheet.classList.remove("open");
    desk.lift(-lifted);
    lifted = 0;
    about = null;
  }

  function chosenPlace() {
    const at = desk.overlay().querySelector(".pin-chosen")?.transform.baseVal.consolidate().matrix;
    return at && { x: at.e / desk.size.width, y: at.f / desk.size.height };
  }

  // What somebody asked for comes into the panel; an answer to something sent does not come by a request of htmx.
  document.addEventListener("htmx:afterSettle", (event) => {
    if (event.target === desk.panel && event.detail.xhr) openPanel(chosenPlace());
  });
  sheet.querySelector(".panel-close").addEventListener("click", () => {
    closePanel();
    desk.stage.focus({ preventScroll: true });
  });

  // What a keyboard on the screen covers is no place for a sheet.
  visualViewport?.addEventListener("resize", () => {
    const covered = Math.max(0, innerHeight - visualViewport.height - visualViewport.offsetTop);
    sheet.style.setProperty("--covered", `${covered}px`);
    keepInSight(about);
  });
  // What is asked may be longer than the form that it stands in the place of.
  new ResizeObserver(() => keepInSight(about)).observe(sheet);
  desk.stage.addEventListener("pointerdown", () => { about = null; });

  Object.assign(desk, { openPanel, closePanel });
})();
