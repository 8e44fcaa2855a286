// Sends what was done, one after the other. What does not get through stays kept, is said so, and is sent again by itself;
// the server knows each by its key, so that nothing is done twice.
"use strict";

(() => {
  const banner = document.getElementById("kept");
  const PATIENCE = 15_000; // milliseconds for one answer
  const FIRST_PAUSE = 3_000; // before another try; it doubles
  const LONGEST_PAUSE = 60_000;
  const waiting = new Map(); // name of an item sent from this page → what to do with its answer
  let busy = false;
  let trouble = ""; // "", "lost" or "signed-out"
  let pause = FIRST_PAUSE;
  let timer = null;

  const token = () => JSON.parse(document.body.getAttribute("hx-headers"))["X-CSRFToken"];

  async function ask(url, options = {}) {
    const stop = new AbortController();
    const late = setTimeout(() => stop.abort(), PATIENCE);
    try {
      return await fetch(url, { redirect: "manual", credentials: "same-origin", signal: stop.signal, ...options });
    } finally {
      clearTimeout(late);
    }
  }

  function post(item) {
    const headers = { "HX-Request": "true", "HX-Target": "panel", "X-CSRFToken": token() };
    // What is drawn here need not be sent again.
    if (item.guide === desk.kept.guide) headers["Desk-Drawn"] = document.getElementById("mark-count").dataset.drawn;
    return ask(item.url, { method: "POST", headers, body: new URLSearchParams(item.values) });
  }

  // After signing in anew elsewhere this page's token is an old one: the page itself has the new one.
  async function renewToken() {
    const answer = await ask(location.pathname);
    if (!answer.ok) return false;
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const fresh = page.body.getAttribute("hx-headers");
    if (!fresh || fresh === document.body.getAttribute("hx-headers")) return false;
    document.body.setAttribute("hx-headers", fresh);
    return true;
  }

  // {state: "done" | "refused" | "lost" | "signed-out", text}
  async function deliver(item, again = true) {
    try {
      const answer = await post(item);
      if (answer.type === "opaqueredirect" || answer.status === 401) return { state: "signed-out" };
      if (answer.status >= 500 || answer.status === 429) return { state: "lost" };
      const text = await answer.text();
      if (answer.ok) return { state: "done", text };
      if (answer.status === 403 && again) {
        const door = await ask(location.pathname);
        if (door.type === "opaqueredirect") return { state: "signed-out" };
        if (await renewToken()) return deliver(item, false);
      }
      return { state: "refused", text, status: answer.status };
    } catch {
      return { state: "lost" };
    }
  }

  function reason(text) {
    const page = new DOMParser().parseFromString(text, "text/html");
    const told = page.querySelector(".refusal, .wrong, .said, main p");
    return told ? told.textContent.trim().replace(/\s+/g, " ") : "The server does not take it.";
  }

  // Our own later changes of a mark were made seeing it as this one left it.
  function seenNow(item) {
    const mark = /\/marks\/\d+\//.exec(item.url)?.[0];
    const pin = mark && document.querySelector(`#overlay [data-mark$="${mark}"]`);
    if (!pin || !item.values.seen) return;
    for (const later of desk.kept.all()) {
      if (later.url.includes(mark) && later.values.seen === item.values.seen) {
        later.values.seen = pin.dataset.seen;
        desk.kept.store(later);
      }
    }
  }

  async function sendAll() {
    for (const item of desk.kept.all()) {
      if (item.refused || !desk.kept.has(item)) continue;
      const result = await deliver(item);
      trouble = result.state === "lost" || result.state === "signed-out" ? result.state : "";
      if (trouble) return;
      const answered = waiting.get(item.name);
      waiting.delete(item.name);
      const isHere = item.guide === desk.kept.guide;
      if (result.state === "done") {
        desk.kept.forget(item);
        if (isHere) desk.answer(item, result.text, answered ?? {});
        seenNow(item);
      } else if (isHere && answered && result.status === 422 && desk.answer(item, result.text, { ...answered, refused: true })) {
        desk.kept.forget(item); // the panel shows what was typed, and why it is not taken
      } else {
        desk.kept.store({ ...item, refused: reason(result.text) });
      }
    }
  }

  async function flush() {
    if (busy) return;
    busy = true;
    clearTimeout(timer);
    try {
      do {
        // One window at a time where the browser can say so; the keys keep the server right in any case.
        await (navigator.locks ? navigator.locks.request(`desk:${desk.stage.dataset.person}`, sendAll) : sendAll());
      } while (!trouble && desk.kept.all().some((item) => !item.refused));
    } finally {
      busy = false;
    }
    pause = trouble ? Math.min(pause * 2, LONGEST_PAUSE) : FIRST_PAUSE;
    if (trouble) timer = setTimeout(flush, pause);
    tell();
  }

  // Queues a write and sends it. `answered` goes to desk.answer with the server's words.
  desk.send = (url, values, said, answered = {}) => {
    const item = desk.kept.add({ url, values, said });
    waiting.set(item.name, answered);
    if (trouble) pause = FIRST_PAUSE;
    if (trouble) tell();
    flush();
    return item;
  };

  function button(text, deed) {
    const made = document.createElement("button");
    made.type = "button";
    made.className = "quiet";
    made.textContent = text;
    made.addEventListener("click", deed);
    return made;
  }

  function link(text, address) {
    const made = document.createElement("a");
    made.href = address;
    made.textContent = text;
    return made;
  }

  function row(item) {
    const line = document.createElement("li");
    const words = document.createElement("span");
    words.textContent = item.refused && !item.half ? `${item.said}: not taken. ${item.refused}` : item.said;
    line.append(words, " ");
    if (item.half && item.guide === desk.kept.guide) {
      line.append(button("Open it", () => desk.half.open(item)), " ");
    } else if (item.half) {
      line.append(link("its page", item.page), " ");
    } else if (item.refused && item.guide === desk.kept.guide && item.url === desk.stage.dataset.newMark) {
      line.append(button("Open it", () => { desk.kept.forget(item); desk.form.open(item.values); tell(); }), " ");
    } else if (item.refused) {
      line.append(button("Try again", () => { desk.kept.store({ ...item, refused: "" }); flush(); }), " ");
    }
    line.append(button("Throw away", () => { desk.kept.forget(item); tell(); }));
    return line;
  }

  function headline(items) {
    const open = items.filter((item) => !item.refused).length;
    if (!open) return items.every((item) => item.half) ? "Half typed, and not sent:" : "Not sent, or not taken by the server:";
    const things = open === 1 ? "1 change is" : `${open} changes are`;
    const where = desk.kept.isSafe() ? "kept in this browser" : "kept on this page only: do not close it";
    return trouble === "signed-out"
      ? `You are signed out. ${things} ${where}; sign in, and they are sent.`
      : `No connection to the server. ${things} ${where} and will be sent by themselves.`;
  }

  // Says what is kept; nothing while all is well.
  function tell() {
    const items = desk.kept.all().filter((item) => (item.refused || trouble) && !desk.half.isOpen(item));
    const here = items.filter((item) => item.guide === desk.kept.guide && item.url === desk.stage.dataset.newMark);
    desk.draw.kept(here.map((item) => ({ x: Number(item.values.x), y: Number(item.values.y) })));
    banner.hidden = items.length === 0;
    banner.replaceChildren();
    if (!items.length) return;
    const head = document.createElement("p");
    head.textContent = `${headline(items)} `;
    if (trouble === "signed-out") {
      head.append(link("Sign in", `/sign-in/?next=${encodeURIComponent(location.pathname)}`), " ");
    }
    if (trouble) head.append(button("Send now", () => { pause = FIRST_PAUSE; flush(); }));
    const list = document.createElement("ul");
    list.append(...items.map(row));
    banner.append(head, list);
  }

  // Takes back what has not been sent yet; false where there is nothing.
  desk.unsend = () => {
    const last = trouble && desk.kept.all().filter((item) => item.guide === desk.kept.guide && !item.half).at(-1);
    if (!last) return false;
    desk.kept.forget(last);
    tell();
    return true;
  };

  addEventListener("online", flush);
  document.addEventListener("visibilitychange", () => { if (!document.hidden && trouble) flush(); });
  desk.flush = flush;
  desk.tellKept = tell;
})();
