// Writes that the server has not confirmed, kept in this browser for this person until it has: each under a name of its
// own, so that two windows do not write over each other's.
"use strict";

(() => {
  const person = desk.stage.dataset.person;
  const guide = desk.stage.dataset.guide;
  const PREFIX = `desk-kept:${person}:`;
  const memory = new Map(); // where the browser lets nothing be stored
  let last = 0;

  function newKey() {
    const bytes = crypto.getRandomValues(new Uint8Array(16));
    return Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
  }

  function store(item) {
    const text = JSON.stringify(item);
    try {
      localStorage.setItem(item.name, text);
      memory.delete(item.name);
    } catch {
      memory.set(item.name, text);
    }
  }

  // `values` is what a form would send; `said` tells people what it is. Later ones have later names.
  function add({ url, values, said, ...more }) {
    last = Math.max(Date.now(), last + 1);
    const key = newKey();
    const item = { name: `${PREFIX}${String(last).padStart(15, "0")}-${key.slice(0, 8)}`, guide, url, said, values: { ...values, key }, ...more };
    store(item);
    return item;
  }

  function forget(item) {
    memory.delete(item.name);
    try { localStorage.removeItem(item.name); } catch { /* it was never there */ }
  }

  // Everything of this person that waits, oldest first, of other pages too.
  function all() {
    const found = new Map(memory);
    try {
      for (let at = 0; at < localStorage.length; at += 1) {
        const name = localStorage.key(at);
        if (name.startsWith(PREFIX)) found.set(name, localStorage.getItem(name));
      }
    } catch { /* only what is in memory */ }
    return [...found].filter(([, text]) => text).sort(([a], [b]) => (a < b ? -1 : 1)).map(([, text]) => JSON.parse(text));
  }

  const has = (item) => all().some((one) => one.name === item.name);

  desk.kept = { add, forget, store, all, has, newKey, guide, isSafe: () => memory.size === 0 };
})();
