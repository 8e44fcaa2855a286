// A costume's strip: painted with the mouse, tapped, or set with arrows and Space; kept in the pairs of fields of its form.
"use strict";

(() => {
  const LATER = "later";

  class WornStrip {
    constructor(strip) {
      this.strip = strip;
      this.form = strip.closest("form");
      this.rows = this.form.querySelector("[data-stretches]");
      this.words = this.form.querySelector("[data-worn-words]");
      this.save = this.form.querySelector("[data-worn-save]");
      this.cells = [...strip.querySelectorAll("[role=option]")];
      this.here = Math.max(0, this.cells.findIndex((cell) => this.isWorn(cell)));
      this.painting = null;
      strip.addEventListener("pointerdown", (event) => this.begin(event));
      strip.addEventListener("pointermove", (event) => this.paint(event));
      for (const end of ["pointerup", "pointercancel", "pointerleave"]) strip.addEventListener(end, () => { this.painting = null; });
      strip.addEventListener("click", (event) => this.tap(event));
      strip.addEventListener("keydown", (event) => this.key(event));
      strip.addEventListener("focus", () => this.show());
      strip.addEventListener("blur", () => this.show());
      this.rows.addEventListener("input", () => this.fromFields());
    }

    isWorn(cell) { return cell.getAttribute("aria-selected") === "true"; }

    set(at, worn) {
      const cell = this.cells[at];
      cell.setAttribute("aria-selected", String(worn));
      cell.querySelector(".worn-bar").classList.toggle("worn-bar-on", worn);
      const said = `${cell.dataset.label}: ${worn ? "worn" : "not worn"}`;
      cell.querySelector("title").textContent = said;
      cell.setAttribute("aria-label", said);
    }

    at(event) { return this.cells.indexOf(event.target.closest("[role=option]")); }

    // A finger scrolls and taps; what is held down paints.
    begin(event) {
      const at = this.at(event);
      if (event.pointerType === "touch" || event.button !== 0 || at < 0) return;
      this.painting = !this.isWorn(this.cells[at]);
      this.change(at, at, this.painting);
    }

    paint(event) {
      const at = this.painting === null ? -1 : this.at(event);
      if (at >= 0 && at !== this.here) this.change(this.here, at, this.painting);
    }

    tap(event) {
      const at = this.at(event);
      if (event.pointerType === "touch" && at >= 0) this.change(at, at, !this.isWorn(this.cells[at]));
    }

    key(event) {
      const last = this.cells.length - 1;
      const to = { ArrowRight: this.here + 1, ArrowLeft: this.here - 1, Home: 0, End: last }[event.key];
      if (event.key === " ") this.change(this.here, this.here, !this.isWorn(this.cells[this.here]));
      else if (to === undefined) return;
      else if (event.shiftKey) this.change(this.here, Math.min(Math.max(to, 0), last), this.isWorn(this.cells[this.here]));
      else this.here = Math.min(Math.max(to, 0), last);
      event.preventDefault();
      this.show();
    }

    // All cells from one to another, whichever comes first; the other is where one is now.
    change(from, to, worn) {
      for (let at = Math.min(from, to); at <= Math.max(from, to); at += 1) this.set(at, worn);
      this.here = to;
      this.toFields();
      this.show();
    }

    show() {
      const focused = document.activeElement === this.strip;
      this.cells.forEach((cell, at) => cell.classList.toggle("worn-cell-here", focused && at === this.here));
      this.strip.setAttribute("aria-activedescendant", this.cells[this.here].id);
    }

    runs() {
      const found = [];
      this.cells.forEach((cell, at) => {
        if (!this.isWorn(cell)) return;
        const run = found.at(-1);
        if (run && run[1] === at - 1) run[1] = at;
        else found.push([at, at]);
      });
      return found;
    }

    number(at) { return this.cells[at].dataset.number; }

    toFields() {
      const runs = this.runs(), last = this.cells.length - 1;
      const said = runs.map(([first, end]) => [first ? this.number(first) : "", end === last ? "" : this.number(end)]);
      while (this.rows.children.length < said.length) this.addRow();
      [...this.rows.children].forEach((row, at) => {
        const [first, end] = said[at] ?? ["", ""];
        row.querySelector("[name^=from_issue]").value = first;
        row.querySelector("[name^=to_issue]").value = end;
      });
      this.tell(runs);
    }

    addRow() {
      const row = this.rows.lastElementChild.cloneNode(true), behind = `_${this.rows.children.length + 1}`;
      for (const input of row.querySelectorAll("input")) {
        const name = input.name.replace(/_\d+$/, "") + behind;
        row.querySelector(`label[for="${input.id}"]`)?.setAttribute("for", `id_${name}`);
        if (input.id) input.id = `id_${name}`;
        input.name = name;
        input.value = "";
      }
      this.rows.append(row);
    }

    // Plain words, as the program says them; a costume that is worn nowhere is put away instead.
    tell(runs) {
      const last = this.cells.length - 1;
      const words = runs.map(([first, end]) => {
        if (!first && end === last) return "always";
        if (end === last) return this.number(first) === LATER ? "from the next issue on" : `from issue ${this.number(first)} on`;
        if (!first) return `up to issue ${this.number(end)}`;
        return first === end ? `issue ${this.number(first)}` : `issues ${this.number(first)} to ${this.number(end)}`;
      });
      if (this.words) this.words.textContent = words.join(", ") || "in no issue: archive it instead";
      for (const button of this.form.querySelectorAll("button[type=submit]")) button.disabled = !runs.length;
      if (this.save) this.save.hidden = false;
    }

    fromFields() {
      const last = this.cells.length - 1;
      const pairs = [...this.rows.children].map((row) => ["from_issue", "to_issue"].map((name) => row.querySelector(`[name^=${name}]`).value.trim()));
      const said = pairs.filter(([first, end]) => first || end);
      const place = (number) => this.cells.findIndex((cell) => cell.dataset.number.toLowerCase() === number.toLowerCase());
      const runs = (said.length ? said : [["", ""]]).map(([first, end]) => [first ? place(first) : 0, end ? place(end) : last]);
      if (runs.some(([first, end]) => first < 0 || end < first)) return;  // still being typed
      this.cells.forEach((_, at) => this.set(at, runs.some(([first, end]) => first <= at && at <= end)));
      this.tell(this.runs());
    }
  }

  for (const strip of document.querySelectorAll("[data-worn-strip]")) new WornStrip(strip);
})();
