// How well words fit a part, and slips of the keys: what bible/locks/wording.py says, with the weights that came along.
"use strict";

const pocketWording = (() => {
  // A code in any order of its inks: “RB3” is “B3R”.
  function inks(text) {
    const found = text.toUpperCase().match(/[A-Z]\d*/g) || [];
    return found.join("") === text.toUpperCase() ? found.sort().join(" ") : "";
  }

  const isLetter = (sign) => sign !== undefined && /[\p{L}\p{N}]/u.test(sign);

  // How far a name is from being what was typed; Infinity where it does not hold the word.
  function inName(word, name, weights) {
    let best = Infinity;
    for (let at = name.indexOf(word); at >= 0; at = name.indexOf(word, at + 1)) {
      if (best === Infinity) best = weights.inside;
      if (isLetter(name[at - 1])) continue;
      if (!isLetter(name[at + word.length])) return 0;
      best = weights.begins;
    }
    return best;
  }

  function byCode(word, part, weights) {
    const code = inks(word);
    if (code && part.inks.includes(code)) return weights.wears;
    if (part.called.includes(word)) return weights.called;
    return code && part.wore.some((one) => inks(one.code) === code) ? weights.wore : Infinity;
  }

  // The least comes first; Infinity: it does not fit.
  function weighed(words, part, weights) {
    const [subject, costume, name] = part.names;
    let total = 0;
    let namesPart = false;
    let namesSubject = false;
    for (const word of words) {
      const inPart = inName(word, name, weights);
      const inSubject = weights.subject + inName(word, subject, weights);
      total += Math.min(inPart, inSubject, weights.costume + inName(word, costume, weights), byCode(word, part, weights));
      namesPart ||= inPart < weights.inside;
      namesSubject ||= inSubject < weights.inside;
    }
    if (words.length > 1 && !namesSubject) total += weights.no_subject;
    return words.length && !namesPart ? total + weights.no_part : total;
  }

  // Letters too many, too few, other ones, or two that changed places.
  function slips(one, other) {
    let earlier = [];
    let before = [];
    let row = Array.from({ length: other.length + 1 }, (_, at) => at);
    for (let at = 1; at <= one.length; at += 1) {
      [earlier, before, row] = [before, row, [at]];
      for (let place = 1; place <= other.length; place += 1) {
        const same = one[at - 1] === other[place - 1];
        row[place] = Math.min(before[place] + 1, row[place - 1] + 1, before[place - 1] + (same ? 0 : 1));
        if (at > 1 && one[at - 1] === other[place - 2] && one[at - 2] === other[place - 1]) {
          row[place] = Math.min(row[place], earlier[place - 2] + 1);
        }
      }
    }
    return row[other.length];
  }

  function nearest(word, known, weights) {
    if (word.length < weights.short) return undefined;
    const most = word.length >= weights.long ? 2 : 1;
    const near = [];
    for (const other of known) {
      if (other.length < word.length - most) continue;
      // A word that is still being typed is compared with as much of a longer one.
      const whole = slips(word, other);
      const begun = slips(word, other.slice(0, word.length));
      if (Math.min(whole, begun) <= most) near.push([Math.min(whole, begun), whole <= begun ? 0 : 1, other]);
    }
    near.sort((one, other) => one[0] - other[0] || one[1] - other[1] || (one[2] < other[2] ? -1 : 1));
    return near.length ? near[0][2] : undefined;
  }

  // What words that stand in no name may have been meant for; empty where one of them is near to nothing.
  function meant(words, parts, weights) {
    const known = [...new Set(parts.flatMap((part) => part.names.flatMap((name) => name.match(/[\p{L}\p{N}_]+/gu) || [])))];
    const read = new Map();
    for (const word of words) {
      if (known.some((other) => other.includes(word)) || parts.some((part) => byCode(word, part, weights) < Infinity)) continue;
      const near = nearest(word, known, weights);
      if (near === undefined) return new Map();
      read.set(word, near);
    }
    return read;
  }

  return { inks, weighed, meant };
})();
