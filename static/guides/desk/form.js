// The mark form in the panel: opened without asking the server, parts typed ahead, codes offered but never filled in silently.
"use strict";

(() => {
  const { panel, stage } = desk;
  const blank = document.getElementById("blank-mark");
  let lastPart = ""; // full name of the part that was marked last
  const marked = new Set(); // names of parts marked since the desk was opened
  let options = []; // what the list shows
  let active = 0;
  let offer = null; // a locked code that Enter takes

  const form = () => panel.querySelector(".mark-form");
  const field = (name) => form()?.elements[name];
  const isNew = () => form()?.getAttribute("action") === stage.dataset.newMark;
  const offers = () => (lastPart ? desk.cast.next(lastPart, marked) : []);
  const lastSubject = () => desk.cast.named(lastPart)?.subject ?? "";

  function unchoose() {
    for (const pin of desk.overlay().querySelectorAll(".pin-chosen")) pin.classList.remove("pin-chosen");
  }

  // Opens the form of a new mark; `said` is what is known already: its place at least.
  function open(said, placeholder = "") {
    desk.half.leave();
    panel.replaceChildren(blank.content.cloneNode(true));
    panel.querySelector("form").classList.add("mark-form");
    for (const [name, value] of Object.entries(said)) {
      const input = field(name);
      if (input && name !== "key" && value !== undefined) input.value = value;
    }
    if (said.to_x !== undefined) {
      panel.querySelector(".more-fields").open = true;
      field("written").closest(".field").after(field("to_written").closest(".field"));
    }
    if (placeholder) field("written").placeholder = placeholder;
    unchoose();
    desk.draw.newMark({ x: Number(said.x), y: Number(said.y) });
    htmx.process(panel);
    dress();
    desk.half.keep();
    desk.openPanel({ x: Number(said.x), y: Number(said.y) });
    field("written").focus({ preventScroll: true });
  }

  function backToPage() {
    desk.closePanel();
    stage.focus({ preventScroll: true });
  }

  function close() {
    if (!form() && !panel.querySelector("form")) return;
    desk.half.drop();
    panel.replaceChildren();
    const hint = document.createElement("p");
    hint.className = "aside";
    hint.textContent = "Click where a code stands, or move the cross with the arrow keys and press Enter.";
    panel.append(hint);
    desk.draw.newMark(null);
    desk.draw.clearDraft();
    backToPage();
  }

  // Gives a form that has just come its list, its chips and its words for those who cannot see them.
  function dress() {
    const part = field("part");
    if (!part) return;
    // An answer to the mark before may come while a part is half typed: the list under it is what the next Enter takes.
    if (part.getAttribute("role") === "combobox") {
      chips();
      return;
    }
    options = [];
    offer = null;
    for (const [name, value] of Object.entries({
      role: "combobox", "aria-autocomplete": "list", "aria-controls": "part-options", "aria-expanded": "false",
    })) part.setAttribute(name, value);
    chips();
  }

  function swatch(row) {
    const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
    svg.setAttribute("class", "swatch");
    svg.setAttribute("viewBox", "0 0 24 24");
    svg.setAttribute("aria-hidden", "true");
    const square = document.createElementNS("http://www.w3.org/2000/svg", "rect");
    for (const [name, value] of [["width", 24], ["height", 24], ["fill", row.fill]]) square.setAttribute(name, value);
    svg.append(square);
    if (row.fill_to) {
      const half = square.cloneNode();
      for (const [name, value] of [["x", 12], ["width", 12], ["fill", row.fill_to]]) half.setAttribute(name, value);
      svg.append(half);
    }
    return svg;
  }

  function words(tag, css, text) {
    const made = document.createElement(tag);
    made.className = css;
    made.textContent = text;
    return made;
  }

  // A part with the code it is locked to in this issue.
  function fill(element, row, number = "") {
    if (number) element.append(words("kbd", "", number), " ");
    const name = words("span", "option-name", number ? row.part.part : row.part.name);
    if (row.role !== "base") name.append(" ", words("span", `role role-${row.role}`, row.role_name));
    element.append(name, " ");
    if (row.code) element.append(swatch(row), words("span", "code", row.code));
    else element.append(words("span", "code code-none", "no lock"));
  }

  function chips() {
    const place = panel.querySelector(".chips");
    const rows = isNew() ? offers() : [];
    place.replaceChildren();
    place.hidden = !rows.length || Boolean(field("part").value);
    if (!rows.length) return;
    place.append(words("span", "aside", `${lastSubject()}, number keys:`));
    rows.forEach((row, at) => {
      const chip = document.createElement("button");
      chip.type = "button";
      chip.className = "chip-choice";
      fill(chip, row, String(at + 1));
      chip.addEventListener("click", () => { choose(row); field(row.code || field("written").value ? "part" : "written").focus(); });
      place.append(chip);
    });
  }

  // What figures typed over the page would take, said under what has just been placed.
  function foretell() {
    const rows = offers();
    if (!rows.length) return;
    const line = words("p", "chips foretold", "");
    line.append(words("span", "aside", `${lastSubject()} next, number keys on the page:`));
    rows.forEach((row, at) => {
      const one = words("span", "foretold-one", "");
      fill(one, row, String(at + 1));
      line.append(one);
    });
    const answer = panel.querySelector(".answer");
    if (answer) answer.after(line);
    else panel.append(line);
  }

  // No code begins with a figure: in an empty field one takes what is offered under it.
  const isChip = (key) => /^[1-9]$/.test(key) && panel.querySelectorAll(".chips:not([hidden]) .chip-choice").length >= Number(key);
  const takeChip = (key) => panel.querySelectorAll(".chip-choice")[Number(key) - 1].click();

  function list() {
    const place = panel.querySelector("#part-options");
    place.replaceChildren();
    options.forEach((row, at) => {
      const option = document.createElement("li");
      option.id = `part-option-${at}`;
      option.setAttribute("role", "option");
      option.setAttribute("aria-selected", String(at === active));
      option.dataset.name = row.part.name;
      fill(option, row);
      option.addEventListener("pointerdown", (event) => { event.preventDefault(); choose(row); });
      place.append(option);
    });
    place.hidden = options.length === 0;
    field("part").setAttribute("aria-expanded", String(options.length > 0));
    if (options.length) field("part").setAttribute("aria-activedescendant", `part-option-${active}`);
    else field("part").removeAttribute("aria-activedescendant");
    place.querySelector('[aria-selected="true"]')?.scrollIntoView({ block: "nearest" });
  }

  function typed() {
    offered(null);
    active = 0;
    options = desk.cast.find(field("part").value, field("written").value, lastSubject());
    list();
    panel.querySelector(".chips").hidden = Boolean(field("part").value) || !panel.querySelector(".chip-choice");
  }

  // Whoever was faster than the cast gets their list now.
  function castCame() {
    if (document.activeElement === field("part") && field("part")?.value) typed();
    else if (field("part")) chips();
  }

  function choose(row) {
    field("part").value = row.part.name;
    if (row.role !== field("role").value) {
      field("role").value = row.role;
      panel.querySelector(".more-fields").open = row.role !== "base" || panel.querySelector(".more-fields").open;
    }
    options = [];
    list();
    panel.querySelector(".chips").hidden = true;
    offered(row.code && !field("written").value.trim() ? row : null);
    askRole(row);
  }

  // Whether another role is meant, where the code that is written is the one of that role. True where it is asked.
  function askRole(row) {
    const other = desk.cast.meant(row, field("written").value);
    const place = panel.querySelector(".offer");
    if (!other || !place) return false;
    place.replaceChildren();
    place.hidden = false;
    const own = row.code ? `, the ${row.role_name} is ${row.code}` : "";
    place.append(swatch(other), words("span", "code", other.code), ` is the ${other.role_name} of this part${own}. `);
    const take = words("button", "quiet", `It is the ${other.role_name}`);
    take.type = "button";
    take.addEventListener("click", () => { choose(other); field("part").focus(); });
    place.append(take, words("span", "aside", `Enter keeps it as the ${row.role_name}.`));
    return true;
  }

  // A code the part is locked to, for whoever has not typed one: said, and taken only by a further Enter.
  function offered(row) {
    offer = row;
    const place = panel.querySelector(".offer");
    if (!place) return;
    place.replaceChildren();
    place.hidden = !row;
    if (!row) return;
    place.append("Locked here: ", swatch(row), words("span", "code", row.code), " ");
    const take = words("button", "quiet", "Take it (Enter)");
    take.type = "button";
    take.addEventListener("click", () => { takeOffer(); field("written").focus(); });
    place.append(take);
  }

  function takeOffer() {
    field("written").value = offer.code;
    offered(null);
  }

  function enter(event) {
    const name = event.target.name;
    const listed = name === "part" && options.length > 0;
    const row = listed ? options[active] : null;
    if (row) choose(row);
    if (!field("written").value.trim()) {
      event.preventDefault();
      if (listed || !offer) return;
      takeOffer();
      form().requestSubmit();
    } else if (row) {
      event.preventDefault();
      if (!desk.cast.meant(row, field("written").value)) form().requestSubmit();
    }
  }

  panel.addEventListener("input", (event) => {
    if (event.target.name === "part" && form()?.contains(event.target)) typed();
    if (event.target.name === "written") offered(null);
  });

  panel.addEventListener("keydown", (event) => {
    const inForm = form()?.contains(event.target);
    if (event.key === "Escape") {
      if (options.length) { options = []; list(); } else close();
      event.preventDefault();
    }
    if (!inForm || event.altKey || event.ctrlKey || event.metaKey || event.isComposing) return;
    if (event.key === "Enter" && event.target.tagName === "INPUT") enter(event);
    if (!event.target.value && isChip(event.key) && ["written", "part"].includes(event.target.name)) {
      takeChip(event.key);
      event.preventDefault();
    }
    if (event.target.name !== "part") return;
    if (event.key === "Tab" && options.length && !event.shiftKey) choose(options[active]);
    if ((event.key === "ArrowDown" || event.key === "ArrowUp") && options.length) {
      active = (active + (event.key === "ArrowDown" ? 1 : options.length - 1)) % options.length;
      list();
      event.preventDefault();
    }
  });

  // Every form of the panel that changes something is sent by desk.send, so that it survives a lost connection.
  document.addEventListener("submit", (event) => {
    const sent = event.target.closest("form[data-deed]");
    if (!sent) return;
    event.preventDefault();
    if (sent.dataset.sent) return;
    sent.dataset.sent = "yes";
    if (sent.dataset.step === "undo" && desk.unsend()) { delete sent.dataset.sent; return; }
    const values = Object.fromEntries(new FormData(sent, event.submitter));
    delete values.csrfmiddlewaretoken;
    const isMark = sent.matches(".mark-form");
    const placing = isMark && sent.getAttribute("action") === stage.dataset.newMark;
    if (isMark && values.part) lastPart = desk.cast.named(values.part)?.name ?? values.part;
    if (placing && values.part) marked.add(lastPart);
    const said = isMark ? `${sent.dataset.deed}: ${values.written} ${values.part}`.trim() : sent.dataset.deed;
    if (placing) waitForNext(values);
    desk.send(sent.getAttribute("action"), values, said, { placing, form: sent });
  });

  // The next mark may be placed while the last one is on its way.
  function waitForNext(values) {
    panel.replaceChildren(words("p", "aside sending", `${values.written} ${values.part || "background"} …`));
    foretell();
    desk.draw.clearDraft();
    backToPage();
  }

  // The server's answer to what was sent from here. It takes the panel unless somebody is writing there; a refusal that
  // finds no room says false.
  desk.answer = (item, text, { placing = false, refused = false, form: sentForm = null } = {}) => {
    const writing = form() && isNew() && form() !== sentForm && !form().dataset.sent;
    if (refused && writing) return false;
    // The answer may be a new mark alone, which is then the chosen one.
    for (const row of document.querySelectorAll("#mark-list .chosen")) row.classList.remove("chosen");
    unchoose();
    if (!writing) {
      htmx.swap("#panel", text, { swapStyle: "innerHTML", swapDelay: 0, settleDelay: 0 });
      const asked = refused && placing ? { x: Number(item.values.x), y: Number(item.values.y) } : null;
      desk.draw.newMark(asked);
      if (refused) {
        desk.half.keep();
        desk.openPanel(asked);
      }
      if (refused) (panel.querySelector(".field-wrong input, [data-asks]") ?? field("written"))?.focus({ preventScroll: true });
      else if (placing) {
        foretell();
        stage.focus({ preventScroll: true });
      }
    } else {
      htmx.swap("#panel", text, { swapStyle: "none", swapDelay: 0, settleDelay: 0 });
      dress();
    }
    if (document.activeElement === document.body) stage.focus({ preventScroll: true });
    summary(text);
    return true;
  };

  // One line of what the last mark said, for whoever is at the next one already.
  function summary(text) {
    const page = new DOMParser().parseFromString(text, "text/html");
    const told = [page.querySelector("h2"), page.querySelector(".answer-word"), page.querySelector(".said")];
    const line = document.getElementById("last-said");
    line.textContent = told.map((one) => one?.textContent.trim()).filter(Boolean).slice(0, 2).join(": ");
    line.classList.toggle("last-flagged", Boolean(page.querySelector(".answer-flagged")));
  }

  document.addEventListener("htmx:afterSettle", (event) => {
    if (event.target !== panel && !event.target.closest?.("#panel")) return;
    dress();
  });

  desk.form = {
    open, close, castCame, takeChip,
    hasChip: (key) => /^[1-9]$/.test(key) && offers().length >= Number(key),
    isWriting: () => Boolean(form() && isNew()),
    remember: (part) => { if (part) lastPart = part; },
  };
  dress();
})();
