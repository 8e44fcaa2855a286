// The pocket look-up: fetches every code once, finds them here, and says how old they are.
"use strict";

(() => {
  const main = document.getElementById("pocket");
  const field = document.getElementById("pocket-words");
  const issues = document.getElementById("pocket-issue");
  const printings = document.getElementById("pocket-edition");
  const status = document.getElementById("pocket-status");
  const list = document.getElementById("pocket-found");
  const tally = document.getElementById("pocket-tally");
  const SHOWN = 40;
  const ASK_EVERY = 5 * 60 * 1000;
  const ASK_AGAIN = 3000; // the browser says “online” before the line carries anything
  const OLD = 7 * 24 * 3600 * 1000;
  const REFUSED = [401, 403, 404, 410];
  let known = null;
  let isKept = false;
  let isReady = false;
  let asking = false;
  let missing = ""; // what was asked for and is not kept here, in words
  // At the look-up's own address, without connection, the question stands there.
  const asked = new URLSearchParams(location.search);
  let asOf = asked.get("issue") || "";
  let printing = asked.get("edition") || "";
  field.value = asked.get("q") || "";

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

  const named = (issue, edition) => [issue && `issue ${issue}`, edition && `the edition ${edition}`].filter(Boolean).join(" in ");

  // What is asked of the server, empty for the latest state of the first printing.
  const question = () => new URLSearchParams(Object.entries({ issue: asOf, edition: printing }).filter(([, said]) => said)).toString();

  function row(part, words) {
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
    const asked = words.map(inks).filter(Boolean);
    for (const one of part.wore.filter((one) => asked.includes(inks(one.code)))) {
      const wore = make("div", "found-code found-wore");
      wore.append(make("span", "role", `${one.role}, ${one.when}`), make("span", "code", one.code));
      codes.append(wore);
    }
    item.append(name, codes);
    return item;
  }

  const { inks, weighed, meant } = pocketWording;

  // What fits every word, best first, and the words that were taken for slips of the keys.
  function answers(words) {
    const fits = (asked) => known.parts
      .map((part, at) => [weighed(asked, part, known.weights), part.worn ? 0 : 1, part.names[0].length + part.names[2].length, at, part])
      .filter(([sum]) => sum < Infinity);
    let found = fits(words);
    const slips = found.length ? new Map() : meant(words, known.parts, known.weights);
    if (slips.size) found = fits(words.map((word) => slips.get(word) || word));
    if (words.length) found.sort((one, other) => one[0] - other[0] || one[1] - other[1] || one[2] - other[2] || one[3] - other[3]);
    return [found.map((one) => one[4]), found.length ? [...slips] : []];
  }

  function find() {
    if (!known) return;
    const words = field.value.toLowerCase().split(/\s+/).filter(Boolean);
    const [found, slips] = answers(words);
    list.replaceChildren(...found.slice(0, SHOWN).map((part) => row(part, words)));
    const none = known.parts.length ? "No part fits all of these words." : "Nothing is in the bible yet.";
    const count = found.length > SHOWN
      ? `${found.length} parts; the first ${SHOWN} are shown: type a word to narrow it down`
      : found.length ? `${found.length} part${found.length === 1 ? "" : "s"}` : none;
    tally.textContent = [...slips.map(([typed, read]) => `“${typed}” fits nothing: “${read}” is shown.`), count].join(" ");
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
    const said = [`As of ${named(known.issue, known.edition) || "now"}, fetched ${age(old)} (${day}).`];
    if (isKept || !navigator.onLine) said.unshift("No connection: these are the codes kept on this device.");
    else if (isReady) said.push("Kept on this device: works without connection.");
    if (old > OLD) said.push("Older than a week: ask before you rely on a code.");
    if (missing) said.unshift(`The codes as of ${missing} are not kept on this device.`);
    const words = said.join(" ");
    if (status.textContent !== words) status.textContent = words;
  }

  function take(data) {
    known = data;
    for (const part of known.parts) {
      part.names = [part.subject, part.costume, part.part].map((name) => name.toLowerCase());
      part.inks = part.codes.map((code) => inks(code.code));
      part.called = part.codes.flatMap((code) => code.called);
    }
    const chosen = issues.value;
    issues.replaceChildren(new Option("latest", ""), ...known.issues.map((number) => new Option(number, number)).reverse());
    issues.value = chosen || (asOf === known.issue ? asOf : "");
    printings.replaceChildren(new Option("first printing", ""), ...known.editions.map((name) => new Option(name, name)));
    printings.value = known.edition;
    printings.parentElement.hidden = !known.editions.length;
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
    const wanted = question();
    const inWords = named(asOf, printing);
    let failed = false;
    try {
      const address = wanted ? `${main.dataset.data}?${wanted}` : main.dataset.data;
      const answer = await fetch(address, { headers: { Accept: "application/json" } });
      if (answer.status === 404 && printing) printing = ""; // there is no such edition any more
      else if (answer.redirected || REFUSED.includes(answer.status)) return await gone();
      if (answer.status === 422) asOf = ""; // no issue has this number: the latest is shown, as the look-up does
      else if (!answer.ok) throw new Error(answer.status);
      else {
        const data = await answer.json();
        isKept = answer.headers.has("X-Kept");
        if (!known || ["made_at", "issue", "edition"].some((name) => data[name] !== known[name])) take(data);
      }
    } catch {
      failed = true;
      isKept = known !== null;
    } finally {
      asking = false;
    }
    const isHere = known && (!asOf || known.issue === asOf) && known.edition === printing;
    missing = failed && wanted && !isHere ? inWords : "";
    if (question() !== wanted) return await load();
    if (failed && !known && wanted) {
      asOf = printing = "";
      await load();
      missing = inWords;
    } else if (failed && !known) {
      status.textContent = "No connection, and nothing is kept on this device yet.";
    }
    if ((isKept || !known) && navigator.onLine) setTimeout(load, ASK_AGAIN);
    tell();
  }

  function active(registration) {
    const one = registration.active || registration.waiting || registration.installing;
    return new Promise((resolve, reject) => {
      const look = () => {
        if (one.state === "activated") resolve();
        if (one.state === "redundant") reject(new Error("the worker gave up"));
      };
      one.addEventListener("statechange", look);
      look();
    });
  }

  async function keep() {
    if (!("serviceWorker" in navigator)) return;
    try {
      const { worker, scope, lookupWorker, lookup } = main.dataset;
      await navigator.serviceWorker.register(worker, { scope });
      await active(await navigator.serviceWorker.register(lookupWorker, { scope: lookup })); // answers at the look-up's address
      await navigator.serviceWorker.ready;
      isReady = true;
    } catch {
      isReady = false; // without a worker the page still works, with a connection
    }
    tell();
  }

  field.addEventListener("input", find);
  issues.addEventListener("change", () => {
    asOf = issues.value;
    load();
  });
  printings.addEventListener("change", () => {
    printing = printings.value;
    load();
  });
  document.getElementById("pocket-form").addEventListener("submit", (event) => event.preventDefault());
  window.addEventListener("online", load);
  window.addEventListener("offline", tell);
  document.addEventListener("visibilitychange", () => { if (!document.hidden) load(); });
  setInterval(tell, 20000);
  setInterval(load, ASK_EVERY);
  load().then(() => { if (known) keep(); });
})();
