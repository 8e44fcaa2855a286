// The issue's cast, for typing ahead without asking the server: two letters find a part.
"use strict";

(() => {
  const MOST = 8; // options shown
  const CHIPS = 9; // one for each number key
  const MEMORY = `desk-cast:${desk.stage.dataset.cast}`;
  let parts = [];
  let rows = []; // one for each part and locked role; a part without a lock has one

  function take(told) {
    parts = told.parts;
    rows = parts.flatMap((part) => {
      const codes = part.codes.some((one) => one.role === "base") ? part.codes : [{ role: "base", role_name: "base", code: "", fill: "" }, ...part.codes];
      return codes.map((one) => ({ ...one, part, words: `${part.name} ${one.role === "base" ? "" : `${one.role_name} ${one.sign ?? ""}`}`.toLowerCase().split(/[^\p{L}\p{N}]+/u) }));
    });
  }

  // What was heard last helps where the line is down.
  async function load() {
    try { take(JSON.parse(localStorage.getItem(MEMORY) ?? '{"parts":[]}')); } catch { /* nothing heard yet */ }
    try {
      const answer = await fetch(desk.stage.dataset.cast, { credentials: "same-origin", redirect: "manual" });
      if (!answer.ok) return;
      const told = await answer.json();
      take(told);
      desk.form?.castCame();
      try { localStorage.setItem(MEMORY, JSON.stringify(told)); } catch { /* no room */ }
    } catch { /* offline */ }
  }

  // Codes that mean the same in any order of the letters; only a hint: what a code means is for the server to say.
  const plain = (code) => (code.toUpperCase().replace(/\s+/g, "").match(/[^\d]\d*/g) ?? []).sort().join("");

  const sameCode = (row, code) => Boolean(row.code && code.trim() && plain(row.code) === plain(code));

  // 0 is best; null does not fit. Letters of the part before first letters of subject and part, before any other word.
  function rank(row, words) {
    const { part } = row;
    const joined = words.join(" ");
    if (part.part.toLowerCase().startsWith(joined)) return 0;
    if (words.length === 1 && joined.length > 1 && part.subject.toLowerCase().startsWith(joined[0])
      && part.part.toLowerCase().startsWith(joined.slice(1))) return 0.5;
    if (words.every((word) => row.words.some((one) => one.startsWith(word)))) return 1;
    if (words.every((word) => row.words.some((one) => one.includes(word)))) return 2;
    return null;
  }

  function find(text, code, lastSubject) {
    const words = text.toLowerCase().split(/[^\p{L}\p{N}]+/u).filter(Boolean);
    if (!words.length) return [];
    const fits = (row) => sameCode(row, code);
    const fitting = new Set(rows.filter(fits).map((row) => row.part));
    const found = [];
    rows.forEach((row, at) => {
      let score = rank(row, words);
      if (score === null) return;
      // The code tells which part is meant. Which role, it does not: a base may be written in its shade's code by mistake.
      if (fitting.has(row.part)) score -= 1.2;
      if (lastSubject && row.part.subject === lastSubject) score -= 0.3;
      if (row.role !== "base") score += fits(row) ? 0.01 : 0.4;
      found.push({ row, score, at });
    });
    return found.sort((a, b) => a.score - b.score || a.at - b.at).slice(0, MOST).map(({ row }) => row);
  }

  // The role of the same part that is locked to a code, where the role of this row is locked to another one.
  function meant(row, code) {
    if (sameCode(row, code)) return null;
    return rows.find((one) => one.part === row.part && sameCode(one, code)) ?? null;
  }

  // What may come next of the subject that was marked last: the other roles of the part itself, the other parts, of
  // costumes this page has before the rest and parts it lacks before those it has, and the part once more.
  function next(lastName, marked) {
    const last = parts.find((part) => part.name === lastName);
    if (!last) return [];
    const had = new Set(Array.from(document.querySelectorAll("#mark-list tr[data-part]"), (row) => Number(row.dataset.part)));
    for (const part of parts) if (marked.has(part.name)) had.add(part.id); // some are still under way
    const worn = new Set([last.costume, ...parts.filter((part) => had.has(part.id) && part.subject === last.subject).map((part) => part.costume)]);
    const order = ({ part, role }) => {
      if (part === last) return role === "base" ? 4 : -1;
      return (had.has(part.id) ? 2 : 0) + (worn.has(part.costume) ? 0 : 1);
    };
    const same = rows.filter(({ role, part }) => part === last || (role === "base" && part.subject === last.subject));
    const sorted = same.sort((a, b) => order(a) - order(b));
    return sorted.filter((_, at) => at < CHIPS - 1 || at === sorted.length - 1);
  }

  const named = (name) => parts.find((part) => part.name === name);
  desk.cast = { find, next, named, meant, ready: desk.mayMark ? load() : null };
})();
