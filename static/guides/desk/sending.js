// One file on its way to the server: in pieces, each from where the last one ended, whatever becomes of the line.
"use strict";

const sending = (() => {
  const WAITS = [1000, 2000, 4000, 8000, 15000, 30000]; // between tries while the line is down, ms
  const token = () => document.querySelector("[name=csrfmiddlewaretoken]").value;

  class Lost extends Error {}
  class Said extends Error {
    constructor(answer) { super(answer.message); this.answer = answer; }
  }
  class Slow extends Said {} // more at once than one person may: it goes on when the server said

  // XMLHttpRequest, because fetch does not tell how much of a body has gone out.
  function ask(method, url, { body = null, headers = {}, onProgress = null, signal = null } = {}) {
    return new Promise((resolve, reject) => {
      const request = new XMLHttpRequest();
      request.open(method, url);
      request.setRequestHeader("X-CSRFToken", token());
      request.setRequestHeader("Accept", "application/json");
      for (const [name, value] of Object.entries(headers)) request.setRequestHeader(name, value);
      if (onProgress) request.upload.addEventListener("progress", (event) => onProgress(event.loaded));
      request.addEventListener("load", () => {
        let answer = null;
        try { answer = JSON.parse(request.responseText); } catch { /* a page, not an answer: told below */ }
        if (request.status === 204) return resolve({ status: 204, state: "gone" });
        if (request.status === 429 && answer?.wait) return reject(new Slow(answer));
        if (answer?.state) return resolve({ status: request.status, ...answer });
        if ([502, 503, 504, 507].includes(request.status)) return reject(new Lost());
        const why = {
          404: "The server has forgotten this file; leave it out and choose it again.",
          413: "The server in front takes no pieces of this size.",
        }[request.status] || (request.responseURL.includes("sign-in")
          ? "You are signed out. Sign in in another tab, then go on."
          : `The server did not answer as it should (${request.status}).`);
        reject(new Said({ state: "stopped", message: why }));
      });
      for (const event of ["error", "abort", "timeout"]) request.addEventListener(event, () => reject(new Lost()));
      signal?.addEventListener("abort", () => request.abort());
      request.send(body);
    });
  }

  // A wait that ends early when the line is back, somebody presses “go on”, or the file is left out.
  function pause(ms, signal) {
    return new Promise((resolve) => {
      const done = () => {
        clearTimeout(clock);
        window.removeEventListener("online", done);
        document.removeEventListener("go-on", done);
        resolve();
      };
      const clock = setTimeout(done, ms);
      window.addEventListener("online", done);
      document.addEventListener("go-on", done);
      signal.addEventListener("abort", done);
    });
  }

  // Sends one file; resolves to the server's last answer. `show(word, share)` tells how it goes, share from 0 to 1.
  async function send(file, facts, begin, pieceBytes, show, signal) {
    let url = null;
    let offset = 0;
    let tries = 0;
    let lost = false;
    const form = (values) => {
      const data = new FormData();
      for (const [name, value] of Object.entries(values)) data.append(name, value);
      return data;
    };
    for (;;) {
      if (signal.aborted) {
        if (url) ask("DELETE", url).catch(() => {});
        return { state: "left out" };
      }
      try {
        let answer;
        if (url === null) {
          answer = await ask("POST", begin, { body: form(facts), signal });
          if (answer.state === "asks" || answer.state === "refused") return answer;
          url = answer.url;
        } else if (lost) {
          answer = await ask("GET", url, { signal });
        } else if (offset < file.size) {
          const end = Math.min(offset + pieceBytes, file.size);
          answer = await ask("PATCH", url, {
            body: file.slice(offset, end),
            headers: {
              "Content-Type": "application/octet-stream",
              "Content-Range": `bytes ${offset}-${end - 1}/${file.size}`,
            },
            onProgress: (loaded) => show("sending", (offset + loaded) / file.size),
            signal,
          });
        } else {
          show("being looked at", 1);
          answer = await ask("POST", url, { body: form({}), signal });
        }
        lost = false;
        tries = 0;
        if (answer.state === "coming" || answer.state === "whole") {
          offset = answer.offset;
          show("sending", offset / file.size);
        } else if (answer.state === "busy") {
          show(`${answer.message} It goes on by itself.`, offset / file.size);
          await pause(WAITS[1], signal);
        } else if (answer.state === "working") {
          show("being looked at", 1);
          await pause(WAITS[0], signal);
        } else {
          return { ...answer, arrival: url };
        }
      } catch (error) {
        if (error instanceof Slow) {
          show("waits its turn: a lot at once", offset / file.size);
          await pause(error.answer.wait * 1000, signal);
          continue;
        }
        if (error instanceof Said) return error.answer;
        if (!(error instanceof Lost)) return { state: "stopped", message: `The file cannot be read: ${error.message}` };
        if (signal.aborted) continue;
        lost = url !== null;
        show("connection lost; it goes on by itself", offset / file.size);
        await pause(WAITS[Math.min(tries++, WAITS.length - 1)], signal);
      }
    }
  }

  // SHA-256 in hexadecimal; empty where the browser will not (pages that came without TLS) or memory is short.
  async function fingerprint(file) {
    if (!globalThis.crypto?.subtle) return "";
    try {
      const digest = await crypto.subtle.digest("SHA-256", await file.arrayBuffer());
      return Array.from(new Uint8Array(digest), (byte) => byte.toString(16).padStart(2, "0")).join("");
    } catch {
      return "";
    }
  }

  return { ask, send, fingerprint, token };
})();
