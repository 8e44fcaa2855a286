// The pocket look-up: fetches every code once, finds them here, and says how old they are.
"use strict";

(() => {
  const main = document.getElementById("pocket");
  const field = document.getElementById("pocket-words");
  const status = document.getElementById("pocket-status");
  const list = document.getElementById("pocket-found");
  const tally = document.getElementById("pocket-tally");
  const SHOWN = 80;
  const ASK_EVERY = 5 * 60 * 1000;
  const ASK_AGAIN = 3000; // the browser says “online” before the line carries anything
  const OLD = 7 * 24 * 3600 * 1000;
  const REFUSED = [401, 403, 404, 410];
  let known = null;
  let isKept = false;
  let isReady = false;
  let asking = false;

  function make(tag, css, text) {
    const made = document.createElement(tag);
    if (css) made.className = css;
    if (text !== undefined) made.textContent = text;
    return made;
  }

  function swatch(code) {
    const space = "http://www.w3.org/2000/svg";
    const svg = document.createElementNS(space, "svg");
    const rect = document.createElementNS(space, "rect");
    for (const [name, value] of Object.entries({ class: "swatch", viewBox: "0 0 24 24", preserveAspectRatio: "none", role: "img", "aria-label": `${code.tint} on ${known.press}` })) svg.setAttribute(name, value);
    for (const [name, value] of Object.entries({ width: 24, height: 24, fill: code.fill })) rect.setAttribute(name, value);
    svg.append(rect);
    return svg;
  }

  function row(part) {
    const item = make("li", part.worn ? "sheet" : "sheet not-worn");
    const name = make("p", "found-name", `${part.subject}, ${part.costume}: `);
    name.append(make("strong", "", part.part));
    if (!part.worn) name.append(" ", make("span", "role", known.issue ? `not worn as of issue ${known.issue}` : "not worn"));
    const codes = make("div", "found-codes");
    for (const code of part.codes) {
      const one = make("div", "found-code");
      const chip = make("span", "chip chip-large");
      chip.append(swatch(code), make("span", "code", code.code));
      one.append(make("span", "role", code.role), chip);
      const also = code.also.length ? `; also ${code.also.join(", ")}` : "";
      one.append(make("span", "aside", code.tint + also));
      codes.append(one);
    }
    if (!part.codes.length) codes.append(make("span", "none", "nothing locked"));
    item.append(name, codes);
    return item;
  }

  function find() {
    if (!known) return;
    const words = field.value.toLowerCase().split(/\s+/).filter(Boolean);
    const found = known.parts.filter((part) => words.every((word) => part.words.includes(word)));
    list.replaceChildren(...found.slice(0, SHOWN).map(row));
    tally.textContent = found.length > SHOWN
      ? `${found.length} parts; the first ${SHOWN} are shown: type a word to narrow it down`
      : found.length ? `${found.length} part${found.length === 1 ? "" : "s"}` : "No part fits all of these words.";
  }

  function age(milliseconds) {
    const minutes = Math.round(milliseconds / 60000);
    if (minutes < 1) return "just now";
    if (minutes < 90) return `${minutes} minute${minutes === 1 ? "" : "s"} ago`;
    const hours = Math.round(minutes / 60);
    return hours < 48 ? `${hours} hours ago` : `${Math.round(hours / 24)} days ago`;
  }

  function tell() {
    if (!known) return;
    const made = new Date(known.made_at);
    const old = Math.max(Date.now() - made.getTime(), 0);
    const day = made.toLocaleString("en-GB", { dateStyle: "medium", timeStyle: "short" });
    const said = [`${known.issue ? `As of issue ${known.issue}` : "As of now"}, fetched ${age(old)} (${day}).`];
    if (isKept || !navigator.onLine) said.unshift("No connection: these are the codes kept on this device.");
    else if (isReady) said.push("Kept on this device: works without connection.");
    if (old > OLD) said.push("Older than a week: ask before you rely on a code.");
    const words = said.join(" ");
    if (status.textContent !== words) status.textContent = words;
  }

  function take(data) {
    known = data;
    for (const part of known.parts) part.words = `${part.subject} ${part.costume} ${part.part}`.toLowerCase();
    document.getElementById("pocket-press").textContent = `Colours computed for ${known.press}. A screen is not a proof: judge print on the house’s own proof.`;
    document.getElementById("pocket-also").textContent = known.also.length ? `Also written: ${known.also.join("; ")}.` : "";
    find();
  }

  async function gone() {
    known = null;
    list.replaceChildren();
    tally.textContent = "";
    await forgetPockets();
    status.textContent = "You are signed out, or this series is not yours to read any more: what was kept here has been thrown away.";
  }

  async function load() {
    if (asking) return;
    asking = true;
    try {
      const answer = await fetch(main.dataset.data, { headers: { Accept: "application/json" } });
      if (answer.redirected || REFUSED.includes(answer.status)) return await gone();
      if (!answer.ok) throw new Error(answer.status);
      const data = await answer.json();
      isKept = answer.headers.has("X-Kept");
      if (!known || data.made_at !== known.made_at) take(data);
    } catch {
      isKept = known !== null;
      if (!known) status.textContent = "No connection, and nothing is kept on this device yet.";
    } finally {
      asking = false;
    }
    if ((isKept || !known) && navigator.onLine) setTimeout(load, ASK_AGAIN);
    tell();
  }

  async function keep() {
    if (!("serviceWorker" in navigator)) return;
    try {
      await navigator.serviceWorker.register(main.dataset.worker, { scope: main.dataset.scope });
      await navigator.serviceWorker.ready;
      isReady = true;
    } catch {
      isReady = false; // without a worker the page still works, with a connection
    }
    tell();
  }

  field.addEventListener("input", find);
  document.getElementById("pocket-form").addEventListener("submit", (event) => event.preventDefault());
  window.addEventListener("online", load);
  window.addEventListener("offline", tell);
  document.addEventListener("visibilitychange", () => { if (!document.hidden) load(); });
  setInterval(tell, 20000);
  setInterval(load, ASK_EVERY);
  load().then(() => { if (known) keep(); });
})();
