// Bringing pages in: a folder is dropped, its list corrected, then each file goes on its own way (sending.js).
"use strict";

(() => {
  const drop = document.getElementById("drop");
  const form = document.getElementById("arrivals");
  if (!drop || !form) return;
  const list = document.getElementById("arrivals-list");
  const [reading, word] = [document.getElementById("reading"), document.getElementById("sending")];
  const halfSent = document.getElementById("half-sent");
  const [sendButton, goOn] = [document.getElementById("send"), document.getElementById("go-on")];
  const most = Number(drop.dataset.most);
  let chosen = []; // {file, name, sha256, page, typed, again, out, state}
  let underWay = false;

  drop.hidden = false;
  for (const waiting of document.querySelectorAll("[data-waits]")) delete waiting.dataset.waits;
  document.getElementById("plain").open = document.querySelector("#plain .wrong") !== null;

  const isClutter = (name) => /(^|\/)(\.|thumbs\.db$|desktop\.ini$)/i.test(name);

  async function filesOf(entry) {
    if (entry.isFile) return [await new Promise((resolve, reject) => entry.file(resolve, reject))];
    const reader = entry.createReader();
    const inside = [];
    for (;;) { // a reader hands out a folder by the hundred
      const some = await new Promise((resolve, reject) => reader.readEntries(resolve, reject));
      if (!some.length) break;
      inside.push(...some);
    }
    return (await Promise.all(inside.map(filesOf))).flat();
  }

  async function add(files) {
    if (underWay) return;
    const wanted = files.filter((file) => !isClutter(file.name));
    if (chosen.length + wanted.length > most) {
      reading.textContent = `More than ${most} files: bring them in by parts.`;
      return;
    }
    for (const [count, file] of wanted.entries()) {
      reading.textContent = `Reading file ${count + 1} of ${wanted.length} …`;
      const sha256 = file.size <= 100e6 ? await sending.fingerprint(file) : "";
      chosen.push({ file, name: file.name, sha256, page: "", typed: false, again: false, out: false, state: "" });
    }
    reading.textContent = "";
    await look();
    goHome();
  }

  // Where what had the focus goes away: the list's title, or where files are chosen.
  const goHome = () => ((!form.hidden && document.getElementById("arrivals-title")) || document.getElementById("choose-files")).focus();

  const standing = () => chosen.filter((one) => !one.out);

  // What the server says would become of them; labels that somebody typed go along.
  async function look() {
    const here = standing();
    form.hidden = here.length === 0;
    if (!here.length) return goHome();
    const data = new FormData();
    here.forEach((one, place) => {
      data.append("name", one.name);
      data.append("size", one.file.size);
      data.append("sha256", one.sha256);
      data.append("page", one.page);
      data.append("typed", one.typed ? "1" : "0");
      if (one.again) data.append("again", place);
    });
    try {
      const answer = await fetch(drop.dataset.list, {
        method: "POST", body: data, headers: { "HX-Request": "true", "X-CSRFToken": sending.token() },
      });
      if (answer.redirected || ![200, 422].includes(answer.status)) throw new Error("no list");
      const focus = document.activeElement;
      list.innerHTML = await answer.text();
      if (!focus.isConnected) (document.getElementById(focus.id || "arrivals-title") || list).focus();
      word.textContent = "";
    } catch {
      word.textContent = "The server does not answer; the list is as it was. Change a label or try again.";
    }
    const ready = Number(document.getElementById("arrivals-title")?.dataset.ready || 0);
    sendButton.disabled = ready === 0;
    sendButton.textContent = ready === 1 ? "Bring 1 file in" : `Bring ${ready} files in`;
  }

  const rowOf = (place) => list.querySelector(`[data-place="${place}"]`);

  list.addEventListener("change", (event) => {
    const row = event.target.closest("[data-place]");
    if (!row || underWay) return;
    const one = standing()[Number(row.dataset.place)];
    if (event.target.name === "page") [one.page, one.typed] = [event.target.value, true];
    if (event.target.name === "again") one.again = event.target.checked;
    look();
  });

  list.addEventListener("click", (event) => {
    const button = event.target.closest("button");
    const row = event.target.closest("[data-place]");
    if (!button || !row) return;
    const one = standing()[Number(row.dataset.place)];
    if (button.matches("[data-leave-out]")) {
      if (!underWay) { one.out = true; look(); } else { one.stop?.abort(); row.dataset.state = "left-out"; }
    } else if (button.matches("[data-anyway]")) {
      anyway(one, row, button);
    }
  });

  function show(row, said, share, state) {
    const going = row.querySelector("[data-going]");
    going.hidden = false;
    const bar = going.querySelector("progress");
    bar.value = Math.round(share * 100);
    bar.hidden = state !== "sending";
    going.querySelector("[data-word]").textContent = state === "sending" && said === "sending" ? `${bar.value} %` : said;
    row.dataset.state = state;
    goOn.hidden = !list.querySelector('[data-lost="1"]');
  }

  // How one file ended, in its row.
  function tell(one, row, answer) {
    one.state = answer.state;
    const leaveOut = row.querySelector("[data-leave-out]");
    if (leaveOut === document.activeElement) goHome();
    leaveOut?.remove();
    const place = row.querySelector("[data-word]");
    if (answer.state === "stored") {
      show(row, "", 1, "stored");
      [...(halfSent?.querySelectorAll("[data-file]") ?? [])].find((li) => li.dataset.file === one.name)?.remove();
      if (halfSent) halfSent.hidden = !halfSent.querySelector("li");
      const link = Object.assign(document.createElement("a"), { href: answer.url, textContent: answer.message });
      place.replaceChildren("Stored: ", link, answer.notes?.length ? `. ${answer.notes.join(" ")}` : "");
      if (answer.carry) {
        const marks = Object.assign(document.createElement("a"), {
          href: answer.carry, textContent: "See its marks on the new scan, and carry them over",
        });
        place.append(". ", marks);
      }
    } else if (answer.state === "asks") {
      show(row, answer.message, 1, "asks");
      const yes = Object.assign(document.createElement("button"), { type: "button", textContent: "Bring it in all the same" });
      yes.dataset.anyway = answer.to;
      one.arrival = answer.arrival;
      place.append(" ", yes);
    } else if (answer.state === "left out") {
      show(row, "Left out.", 0, "left-out");
    } else {
      show(row, `Not brought in: ${answer.message}`, 0, "refused");
    }
  }

  const facts = (one, row) => ({
    filename: one.name, byte_size: one.file.size, sha256: one.sha256, page: row.querySelector("[name=page]").value,
    revision: row.dataset.revision, again: one.again ? "on" : "",
    colourist: document.getElementById("arrivals-colourist").value,
  });

  async function bring(one, row) {
    one.stop = new AbortController();
    const answer = await sending.send(one.file, facts(one, row), drop.dataset.begin, Number(drop.dataset.piece),
      (said, share) => {
        row.dataset.lost = said.startsWith("connection") ? "1" : "";
        show(row, said, share, "sending");
      }, one.stop.signal);
    row.dataset.lost = "";
    tell(one, row, answer);
    count();
  }

  async function anyway(one, row, button) {
    const to = button.dataset.anyway;
    goHome();
    button.remove();
    one[to] = true;
    if (!one.arrival) return bring(one, row);
    const data = new FormData();
    for (const yes of ["again", "damaged"]) if (one[yes]) data.append(yes, "1");
    try {
      tell(one, row, { arrival: one.arrival, ...await sending.ask("POST", one.arrival, { body: data }) });
    } catch {
      tell(one, row, { state: "asks", to, arrival: one.arrival, message: "The connection was lost." });
    }
    return count();
  }

  function count() {
    const asked = standing().filter((one) => one.stop);
    const stored = asked.filter((one) => one.state === "stored").length;
    const open = asked.filter((one) => !one.state).length;
    const others = asked.length - stored - open;
    word.textContent = `${stored} of ${asked.length} stored${open ? `, ${open} on the way` : ""}`
      + `${others ? `, ${others} not brought in` : ""}.`;
    goOn.hidden = !list.querySelector('[data-lost="1"]');
  }

  sendButton.addEventListener("click", async () => {
    const queue = [...list.querySelectorAll('[data-state="ready"]')].map((row) => [standing()[Number(row.dataset.place)], row]);
    if (underWay || !queue.length) return;
    underWay = true;
    goHome();
    sendButton.hidden = true;
    drop.hidden = true;
    for (const field of list.querySelectorAll("[name=page], [name=again]")) field.disabled = true;
    for (const [one, row] of queue) { one.stop = new AbortController(); show(row, "waiting", 0, "waiting"); }
    count();
    const lane = async () => {
      for (let next = queue.shift(); next; next = queue.shift()) {
        if (next[1].dataset.state === "left-out") tell(next[0], next[1], { state: "left out" });
        else await bring(...next);
      }
    };
    await Promise.all(Array.from({ length: Number(drop.dataset.atOnce) }, lane));
    count();
    word.textContent += " That is all.";
    underWay = false;
  });

  goOn.addEventListener("click", () => document.dispatchEvent(new Event("go-on")));
  document.getElementById("start-over").addEventListener("click", () => location.assign(location.pathname));

  for (const kind of ["dragenter", "dragover"]) {
    drop.addEventListener(kind, (event) => { event.preventDefault(); drop.classList.add("over"); });
  }
  for (const kind of ["dragleave", "drop"]) drop.addEventListener(kind, () => drop.classList.remove("over"));
  // A scan that misses the place must not take the page's place.
  for (const kind of ["dragover", "drop"]) document.addEventListener(kind, (event) => event.preventDefault());
  drop.addEventListener("drop", async (event) => {
    event.preventDefault();
    const entries = [...event.dataTransfer.items].map((item) => item.webkitGetAsEntry?.()).filter(Boolean);
    const loose = [...event.dataTransfer.files];
    await add(entries.length ? (await Promise.all(entries.map(filesOf))).flat() : loose);
  });
  for (const id of ["choose-files", "choose-folder"]) {
    document.getElementById(id).addEventListener("change", async (event) => {
      const files = [...event.target.files];
      event.target.value = "";
      await add(files);
    });
  }
})();
