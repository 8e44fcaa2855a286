// A mark that is half typed is kept in this browser as sent work is: whoever leaves the page, or goes on to another place
// of it, finds it again.
"use strict";

(() => {
  const { panel, stage } = desk;
  const FIELDS = ["written", "to_written", "part"];
  let item = null; // what is kept of the form that is open

  const form = () => panel.querySelector(".mark-form");
  const isNew = (open) => open.getAttribute("action") === stage.dataset.newMark;
  const isTyped = (open) => FIELDS.some((name) => {
    const { value, defaultValue } = open.elements[name];
    return isNew(open) ? value.trim() : value !== defaultValue;
  });

  function keep() {
    const open = form();
    if (!open || open.dataset.sent) return;
    if (!isTyped(open)) { drop(); return; }
    const values = Object.fromEntries(new FormData(open));
    delete values.csrfmiddlewaretoken;
    const which = isNew(open) ? "New mark" : panel.querySelector("h2").textContent;
    const said = `${which}: ${values.written} ${values.part}`.trim();
    const more = { half: true, refused: "half typed", page: location.pathname };
    item ??= desk.kept.add({ url: open.getAttribute("action"), values, said, ...more });
    desk.kept.store(Object.assign(item, { values, said }));
  }

  function drop() {
    if (item) desk.kept.forget(item);
    item = null;
  }

  // The form goes and something else comes: what was typed is said to be there still.
  function leave() {
    item = null;
    desk.tellKept();
  }

  // Opens what was left half typed, where it was.
  async function open(left) {
    desk.kept.forget(left);
    if (left.url === stage.dataset.newMark) desk.form.open(left.values);
    else {
      await htmx.ajax("GET", left.url.replace(/rewrite$/, ""), { target: "#panel", swap: "innerHTML" });
      for (const name of FIELDS) if (form()) form().elements[name].value = left.values[name];
      form()?.elements.written.focus({ preventScroll: true });
      keep();
    }
    desk.tellKept();
  }

  panel.addEventListener("input", keep);
  document.addEventListener("submit", (event) => { if (event.target === form()) drop(); }, true);
  document.addEventListener("htmx:afterSettle", (event) => {
    if (event.target === panel && item && form()?.getAttribute("action") !== item.url) leave();
  });

  desk.half = { keep, drop, leave, open, isOpen: (one) => one.name === item?.name };
})();
