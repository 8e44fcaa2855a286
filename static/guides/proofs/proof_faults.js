// The faults of a proof: the one that is looked at stands in the pictures and in the bar at the foot, and keys decide on
// it from anywhere on the page. What was decided here is taken back in its order.
"use strict";

(() => {
  const bar = document.getElementById("fault-now");
  if (!bar) return;
  const [name, said] = [bar.querySelector(".fault-name"), bar.querySelector(".fault-said")];
  const OFF = "keys-map-off"; // the switch of the map of keys: then keys act on the fault that has the focus alone
  const WRITING = "textarea, select, [contenteditable], input:not([type=range])";
  const decided = []; // what was decided on here, the last one last
  let now = ""; // the fault that keys mean
  let lookedAt = false; // or is it only the first one that is open?
  let busy = false;

  const rows = () => [...document.querySelectorAll(".fault-row")].filter((row) => row.checkVisibility());
  const isOpen = (row) => row.dataset.open === "1";
  const current = () => document.getElementById(now);
  const button = (row, key) => row?.querySelector(`button[data-key="${key}"]`);

  function choose(row) {
    current()?.removeAttribute("aria-current");
    now = row?.id ?? "";
    row?.setAttribute("aria-current", "true");
    name.textContent = row?.getAttribute("aria-label") ?? "";
  }

  document.addEventListener("focusin", (event) => {
    const row = event.target.closest?.(".fault-row");
    if (!row) return;
    lookedAt = true;
    choose(row);
    document.dispatchEvent(new CustomEvent("look-at", { detail: { x: Number(row.dataset.x), y: Number(row.dataset.y) } }));
  });

  function go(step) {
    const there = rows();
    const at = there.indexOf(current());
    (lookedAt ? there[at + step] : there[Math.max(at, 0)])?.focus();
  }

  function decide(key) {
    const pressed = button(current(), key);
    if (!pressed || busy) return;
    busy = true;
    pressed.click();
  }

  // The fault that has the focus, where it is decided on; else what was decided last.
  function takeBack(focused) {
    const row = button(focused, "u") ? focused : document.getElementById(decided.at(-1));
    if (busy || !button(row, "u")) return;
    busy = true;
    button(row, "u").click();
  }

  const KEYS = {
    f: () => decide("f"), o: () => decide("o"), u: takeBack,
    n: () => go(1), p: () => go(-1),
    e: () => current()?.querySelector(".fault-note input")?.focus(),
  };

  document.addEventListener("keydown", (event) => {
    const key = event.key.toLowerCase();
    const row = event.target.closest?.(".fault-row");
    const back = key === "z" && (event.ctrlKey || event.metaKey) && !event.shiftKey;
    if (event.defaultPrevented || event.altKey || ((event.ctrlKey || event.metaKey) && !back)) return;
    if (event.target.closest?.(`${WRITING}, dialog`) || (!back && !row && localStorage.getItem(OFF))) return;
    const deed = back ? takeBack : KEYS[key];
    if (!deed || (event.repeat && !"np".includes(key))) return;
    event.preventDefault();
    deed(row);
  });
  bar.querySelector("[data-next]").addEventListener("click", () => go(1));
  bar.querySelector("[data-back]").addEventListener("click", () => takeBack(null));

  // After a decision the next undecided fault has the focus; after taking one back, the same.
  document.addEventListener("htmx:afterRequest", () => { busy = false; });
  document.addEventListener("htmx:afterSwap", (event) => {
    const row = document.getElementById(event.detail.target.id);
    if (!row?.matches(".fault-row")) return;
    const before = decided.indexOf(row.id);
    if (before >= 0) decided.splice(before, 1);
    if (!isOpen(row)) decided.push(row.id);
    const words = row.querySelector(".refusal, .fault-decision")?.textContent ?? "undecided again";
    said.textContent = `${row.getAttribute("aria-label").split(":")[0]}: ${words.trim()}`;
    bar.querySelector("[data-back]").disabled = decided.length === 0;
    const waiting = [...document.querySelectorAll('#faults [data-open="1"]')];
    const next = waiting.find((one) => one.compareDocumentPosition(row) & Node.DOCUMENT_POSITION_PRECEDING);
    (isOpen(row) ? row : next ?? waiting[0] ?? row).focus();
  });

  const first = rows().find(isOpen) ?? rows()[0];
  if (!first) return;
  first.tabIndex = 0;
  choose(first);
  bar.hidden = false;
})();
