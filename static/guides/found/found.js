// Codes that were found on the page: keys for the answers, a place on the picture that is asked about, a code that is moved.
"use strict";

(() => {
  const { stage } = desk;
  const WRITING = "textarea, select:not(.found-likely *), [contenteditable], input:not([type=range]):not([type=hidden]):not([type=checkbox])";
  const FAR = 6; // pixels from which a pointer that moves drags
  const box = () => document.getElementById("found");
  const moving = () => box()?.querySelector('[data-found-move] button[aria-pressed="true"]') ?? null;
  let hadFocus = false; // was an answer given from within the box, so that the next one is given there?

  function move(on) {
    const button = box()?.querySelector("[data-found-move] button");
    button?.setAttribute("aria-pressed", String(on));
    document.body.classList.toggle("found-moving", on && Boolean(button));
    if (on) stage.focus({ preventScroll: true });
  }

  // Where the code means, when its place is being shown.
  function placed(event) {
    const button = moving();
    if (!button) return;
    event.preventDefault();
    event.stopPropagation();
    if (event.type !== "click") return;
    const at = desk.ontoPage(desk.place(event));
    const form = button.form;
    form.elements.x.value = at.x;
    form.elements.y.value = at.y;
    move(false);
    hadFocus = true;
    form.requestSubmit();
  }

  let held = null; // a place that is being dragged to where its code means: {place, from, far}

  // A place that is dragged answers: as proposed, but there.
  function dragged(event) {
    if (!held) return;
    event.preventDefault();
    event.stopPropagation();
    held.far ||= Math.hypot(event.clientX - held.from.x, event.clientY - held.from.y) > FAR;
    if (event.type === "pointermove") {
      if (!held.far) return;
      const at = desk.ontoPage(desk.place(event));
      held.place.setAttribute("transform", `translate(${at.x * stage.dataset.width} ${at.y * stage.dataset.height})`);
      return;
    }
    const { place, far } = held;
    held = null;
    document.body.classList.remove("found-dragged");
    if (!far || event.type === "pointercancel") return;
    skip = true;
    setTimeout(() => { skip = false; });
    const form = document.getElementById("found-moved");
    const at = desk.ontoPage(desk.place(event));
    form.action = place.dataset.answer;
    const saying = box()?.querySelector(`select[name="${place.dataset.take}"]`)?.value || place.dataset.saying;
    for (const [name, value] of Object.entries({ saying, x: at.x, y: at.y })) form.elements[name].value = value;
    hadFocus = true;
    form.requestSubmit();
  }

  let skip = false; // the click that ends a drag is no question

  function asks(event) {
    const place = event.target.closest?.("[data-found]");
    if (!place || moving()) return;
    event.preventDefault();
    event.stopPropagation();
    if (event.type === "pointerdown" && event.isPrimary && event.button === 0 && place.dataset.answer) {
      held = { place, from: { x: event.clientX, y: event.clientY }, far: false };
      document.body.classList.add("found-dragged");
    }
    if (event.type !== "click" || skip) return;
    hadFocus = true;
    htmx.ajax("GET", place.dataset.found, { target: "#found", swap: "outerHTML" });
  }

  for (const kind of ["pointermove", "pointerup", "pointercancel"]) window.addEventListener(kind, dragged, true);
  for (const kind of ["pointerdown", "pointerup", "click"]) {
    stage.addEventListener(kind, (event) => { placed(event); asks(event); }, true);
  }

  document.addEventListener("click", (event) => {
    if (event.target.closest?.("[data-found-move] button")) move(!moving());
    if (event.target.closest?.("#found button")) hadFocus = true;
  });

  // A sheet of codes: what one is changed to, those like it are; what was changed stays when the sheet comes anew. It is
  // read from the top: what stands above a changed line is right, and what stands below it is asked anew by all that.
  const changed = new Map();
  let turns = 0; // how often lines were asked anew: only the last answer counts
  const lines = () => [...(box()?.querySelectorAll(".found-likely select") ?? [])];
  const nameOf = (select) => select.dataset.foundKey ?? select.getAttribute("aria-label").replace(/^What (.*) is$/, "$1");
  const tell = (text) => { box().querySelector("#found-changed").textContent = text; };
  const words = (select) => select.selectedOptions[0].textContent.trim().replace(/\s+/g, " ");

  function say(select, value) {
    select.value = value;
    changed.set(select.name, value);
    const line = select.closest("li");
    if (value) line.querySelector(".found-told").textContent = words(select);
    line.classList.toggle("found-struck", !value);
  }

  function turn(select, value) {
    const was = changed.get(select.name) ?? select.options[0].value;
    const first = (line) => !changed.has(line.name) && line.value === was && [...line.options].some((one) => one.value === value);
    const like = value && was ? lines().filter((line) => line !== select && first(line)) : [];
    for (const line of [select, ...like]) say(line, value);
    const also = like.map(nameOf).join(", ");
    tell(`${nameOf(select)}: ${words(select)}.${also ? ` So are ${also}.` : ""}`);
    askAnew();
  }

  async function askAnew() {
    const [all, form, now] = [lines(), box().querySelector(".found-look-over"), ++turns];
    const last = all.findLastIndex((line) => changed.has(line.name));
    const said = all.slice(0, last + 1).filter((line) => line.value).map((line) => [line.name, line.value]);
    if (last + 1 === all.length || !said.length) return;
    const query = new URLSearchParams([["saying", form.elements.saying.value], ...said]);
    const answer = await fetch(`${form.dataset.anew}?${query}`, { credentials: "same-origin" }).catch(() => null);
    if (!answer?.ok || now !== turns) return; // the line broke, or there is a later one: they stay as they are
    const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
    if (form.isConnected && now === turns) showAnew(all.slice(last + 1), fresh);
  }

  // Lines as they are proposed now, with the keys that they had.
  function showAnew(below, fresh) {
    const other = [];
    for (const line of below.filter(({ name }) => !changed.has(name))) {
      const found = fresh.querySelector(`select[name="${line.name}"]`);
      if (!found || found.options[0].value === line.options[0].value) continue;
      const [item, anew] = [line, found].map((one) => one.closest("li"));
      item.querySelector("label > span").replaceWith(anew.querySelector("label > span"));
      line.replaceChildren(...found.children);
      line.selectedIndex = 0; // each answer was the chosen one for a moment as it left its own list
      item.classList.add("found-anew");
      other.push(nameOf(line));
    }
    if (other.length) tell(`${box().querySelector("#found-changed").textContent} Asked anew and otherwise now: ${other.join(", ")}.`);
  }

  // By a key: what comes next, Y or Enter, is said to the sheet, wherever the pointer is.
  function turned(select, value) {
    turn(select, value);
    box().querySelector(".found-look-over button").focus({ preventScroll: true });
  }

  function stillChanged() {
    for (const line of lines()) {
      const value = changed.get(line.name);
      if ([...line.options].some((one) => one.value === value)) say(line, value);
    }
    if (lines().some((line) => changed.has(line.name))) askAnew();
  }

  document.addEventListener("change", (event) => {
    if (event.target.matches?.(".found-likely select")) turn(event.target, event.target.value);
  });

  // Keys answer from anywhere but where somebody writes. Only a letter that the series codes with begins a code where
  // the page has the focus or lies under the pointer, unless the focus is in the box.
  function beginsCode({ key, target }) {
    const codesWith = /^\p{L}$/u.test(key) && (stage.dataset.codeLetters ?? "").includes(key.toUpperCase());
    return codesWith && !box()?.contains(target) && (stage.contains(target) || stage.matches(":hover"));
  }
  const keyed = (key) => box()?.querySelector(`[data-found-key="${CSS.escape(key)}"]`) ?? null;

  function pressed(event) {
    const figure = /^\d$/.test(event.key) ? null : /^Digit(\d)$/.exec(event.code)?.[1];
    const found = keyed(figure ? `shift-${figure}` : event.key.toLowerCase());
    if (found?.matches("select")) return () => turned(found, found.options[(found.selectedIndex + 1) % found.options.length].value);
    if (found) return () => found.click();
    const line = figure ? keyed(figure) : null;
    return line?.matches("select") ? () => turned(line, line.value ? "" : line.options[0].value) : null;
  }

  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey || event.repeat || event.isComposing) return;
    if (event.target.closest?.(`${WRITING}, dialog`) || document.querySelector("dialog[open]")) return;
    if (event.key === "Escape" && moving()) move(false);
    if (beginsCode(event)) return;
    const answer = pressed(event);
    if (!answer) return;
    event.preventDefault();
    hadFocus = true;
    answer();
  }, true); // before the page takes a letter for a code

  function shown() {
    stillChanged();
    const asked = document.querySelector("#overlay .found-asked");
    if (asked && hadFocus) desk.follow({ x: Number(asked.dataset.x), y: Number(asked.dataset.y) });
    if (!hadFocus) return;
    hadFocus = false;
    const next = box()?.querySelector(".found-choices button, .found-more button, .found-look-over button, button:not([hidden] *, .found-cast *)");
    (next ?? stage).focus({ preventScroll: true });
  }

  // A code that is written otherwise was mostly read rightly: what is asked first is whose it is.
  document.addEventListener("htmx:afterSettle", (event) => {
    if (!event.detail.requestConfig?.elt?.matches?.('[data-found-key="e"]')) return;
    const field = document.querySelector(`#panel [name="${document.querySelector("#panel [name=written]")?.value ? "part" : "written"}"]`);
    field?.focus({ preventScroll: true });
    field?.select();
  });

  document.addEventListener("htmx:oobAfterSwap", (event) => { if (event.detail.target.id === "found") setTimeout(shown); });
  document.addEventListener("htmx:afterSwap", (event) => { if (event.detail.target?.id === "found") shown(); });
})();
