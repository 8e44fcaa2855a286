// The guide page wakes up: what the other scripts of the desk have made ready is set going.
"use strict";

(() => {
  desk.stage.classList.add("live");
  document.documentElement.classList.add("scripted");
  desk.fit();
  if (desk.mayMark) {
    desk.tellKept();
    desk.flush(); // what an earlier visit could not send
  }
  // A mark that somebody came for is shown close up.
  const chosen = desk.overlay().querySelector(".pin-chosen");
  if (chosen) {
    const at = chosen.transform.baseVal.consolidate().matrix;
    desk.closeUp({ x: at.e, y: at.f });
  }
})();
