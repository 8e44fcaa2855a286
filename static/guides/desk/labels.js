// What a mark says beside its place: number, swatch and code on a small card, laid out as names are on a map. Cards keep
// off one another, off other marks and off what is drawn or written; a mark without room is a dot until it is pointed at.
"use strict";

(() => {
  const { stage, paper, size } = desk;
  const SVG = "http://www.w3.org/2000/svg";
  const HIGH = 15; // pixels of a card; its letters are 11
  const LETTER = 6.8; // pixels that a letter of a code takes at that size
  const GAP = 2; // pixels kept between cards
  const DOT = 7; // pixels kept free around another mark's place
  const WAYS = 16; // directions that are tried at each distance
  const FAR = [9, 16, 26, 40, 56]; // pixels from a place to its card
  const SMALL = 400; // pixels across of a page on which long leaders would hide what they lead over
  const PENNANT = 28 * 44; // square pixels under a pennant
  const MOST_UNDER = 0.12; // share of the page that pennants may hide; beyond it they are small
  const DETAIL = 360; // pixels across of the small picture in which drawn and plain ground are told apart
  let detail = null; // {width, height, sums} of edges, summed from the upper left corner
  const layer = document.createElementNS(SVG, "svg"); // beside the marks, not in them: what a mark is called says it all
  layer.setAttribute("class", "overlay cards");
  layer.setAttribute("viewBox", `0 0 ${size.width} ${size.height}`);
  layer.setAttribute("aria-hidden", "true");
  desk.overlay().after(layer);
  let laidAt = 0; // the scale for which the cards lie as they do

  // Lines, letters and dots of the page as a table of sums: what lies under a card costs four look-ups.
  function readPicture(picture) {
    const [width, height] = [DETAIL, Math.max(2, Math.round((DETAIL * size.height) / size.width))];
    const canvas = Object.assign(document.createElement("canvas"), { width, height });
    const pen = canvas.getContext("2d", { willReadFrequently: true });
    pen.drawImage(picture, 0, 0, width, height);
    const { data } = pen.getImageData(0, 0, width, height);
    const grey = (x, y) => data[4 * (y * width + x) + 1];
    const sums = new Float64Array((width + 1) * (height + 1));
    for (let y = 0; y < height; y += 1) {
      for (let x = 0, row = 0; x < width; x += 1) {
        row += x && y ? Math.abs(grey(x, y) - grey(x - 1, y)) + Math.abs(grey(x, y) - grey(x, y - 1)) : 0;
        sums[(y + 1) * (width + 1) + x + 1] = sums[y * (width + 1) + x + 1] + row;
      }
    }
    detail = { width, height, sums };
  }

  function busy(box) {
    if (!detail) return 0;
    const { width, height, sums } = detail;
    const scale = desk.scale();
    const onto = (value, length, most) => Math.min(most, Math.max(0, Math.round((value / scale / length) * most)));
    const [x0, x1] = [onto(box.x, size.width, width), onto(box.x + box.w, size.width, width)];
    const [y0, y1] = [onto(box.y, size.height, height), onto(box.y + box.h, size.height, height)];
    const at = (x, y) => sums[y * (width + 1) + x];
    return (at(x1, y1) - at(x0, y1) - at(x1, y0) + at(x0, y0)) / Math.max(1, (x1 - x0) * (y1 - y0));
  }

  const meets = (a, b) => a.x < b.x + b.w + GAP && b.x < a.x + a.w + GAP && a.y < b.y + b.h + GAP && b.y < a.y + a.h + GAP;
  const around = ({ x, y }, up) => ({ x: x - DOT, y: y - (up || DOT), w: 2 * DOT, h: (up || DOT) + DOT });

  function* spots({ x, y }, w) {
    for (const far of size.width * desk.scale() < SMALL ? FAR.slice(0, 3) : FAR) {
      for (let n = 0; n < WAYS; n += 1) {
        const turn = (2 * Math.PI * n) / WAYS;
        yield { x: x + Math.cos(turn) * (far + w / 2) - w / 2, y: y + Math.sin(turn) * (far + HIGH / 2) - HIGH / 2, w, h: HIGH, far };
      }
    }
  }

  function bestSpot(one, taken, w) {
    const scale = desk.scale();
    const [right, foot] = [size.width * scale, size.height * scale];
    let best = null;
    for (const box of spots(one.at, w)) {
      if (box.x < 0 || box.y < 0 || box.x + w > right || box.y + HIGH > foot || taken.some((other) => meets(box, other))) continue;
      const cost = busy(box) + box.far / 3;
      if (!best || cost < best.cost) best = { ...box, cost };
    }
    return best;
  }

  function element(name, attributes, parent, words = "") {
    const made = document.createElementNS(SVG, name);
    for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
    made.textContent = words;
    parent.append(made);
    return made;
  }

  // The place of a mark in the layer of cards, where it is known by the mark's address.
  function place(pin) {
    const states = [...pin.classList].filter((name) => name !== "pin").map((name) => name.replace("pin-", "card-"));
    const at = { class: ["card", ...states].join(" "), transform: pin.getAttribute("transform"), "data-card": pin.dataset.mark };
    return element("g", { class: "pin-shape" }, element("g", at, layer));
  }

  function drawCard(one, box, number) {
    const card = element("g", { class: "pin-card" }, one.pin.dataset.found ? one.pin.querySelector(".pin-shape") : place(one.pin));
    const [x, y] = [box.x - one.at.x, box.y - one.at.y];
    const end = { x: Math.min(Math.max(0, x), x + box.w), y: Math.min(Math.max(0, y), y + HIGH) };
    for (const kind of ["pin-lead-halo", "pin-lead"]) element("line", { class: kind, x2: end.x, y2: end.y }, card);
    element("rect", { class: "pin-ground", x, y, width: box.w, height: HIGH, rx: 2 }, card);
    let left = x + 3;
    if (number) element("text", { class: "pin-number", x: left, y: y + 11 }, card, one.number);
    if (number) left += one.number.length * 6 + 3;
    one.fills.forEach((fill, n) => element("rect", { x: left + (n * 11) / one.fills.length, y: y + 2, width: 11 / one.fills.length, height: 11, fill }, card));
    element("text", { class: "pin-code", x: left + (one.fills.length ? 14 : 0), y: y + 11.5 }, card, one.code);
    return card;
  }

  const wide = (one, number) => 6 + (one.fills.length ? 14 : 0) + one.code.length * LETTER + (number ? one.number.length * 6 + 3 : 0);

  // Swatch and code are the list's own: what stands there stands here.
  function said(pin) {
    const found = pin.dataset.found && pin.querySelector(".pin-shape > text");
    if (found) return { number: "", code: found.textContent.trim(), fills: [] };
    const row = rowOf(pin);
    const chip = row?.querySelector(".chip");
    const fills = [...(chip?.querySelectorAll(".swatch rect") ?? [])].map((one) => one.getAttribute("fill"));
    const code = (chip?.querySelector(".code:not(.code-none)") ?? row?.querySelector(".code"))?.textContent.trim() ?? "";
    return { number: pin.querySelector("text").textContent, code, fills };
  }

  const rowOf = (pin) => document.querySelector(`#mark-list a[hx-get="${pin.dataset.mark}"]`)?.closest("tr");

  function lay() {
    watch.disconnect();
    laidAt = desk.scale();
    for (const old of paper.querySelectorAll(".pin-card")) old.remove();
    layer.replaceChildren();
    const all = [...desk.overlay().querySelectorAll("[data-mark], [data-found]")].map((pin) => {
      const { e, f } = pin.transform.baseVal.consolidate().matrix;
      return { pin, at: { x: e * laidAt, y: f * laidAt }, ...said(pin) };
    });
    const first = (one) => Number(!one.pin.matches(".pin-chosen")) * 2 + Number(!one.pin.matches(".pin-flagged"));
    const risen = (one) => one.pin.matches(".pin-flagged, .pin-waived");
    const many = all.filter(risen).length * PENNANT > MOST_UNDER * size.width * size.height * laidAt * laidAt;
    stage.classList.toggle("many-flags", many);
    const taken = all.map((one) => around(one.at, risen(one) ? 44 / (many ? 2.5 : 1) : 0));
    for (const one of all.filter(({ code }) => code).sort((a, b) => first(a) - first(b))) {
      const options = one.number ? [true, false] : [false];
      const fitting = options.map((number) => [number, bestSpot(one, taken, wide(one, number))]).find(([, box]) => box);
      const [number, box] = fitting ?? [true, { x: one.at.x + 12, y: one.at.y - HIGH - 4, w: wide(one, Boolean(one.number)) }];
      drawCard(one, box, number && Boolean(one.number)).classList.toggle("pin-crowded", !fitting);
      if (fitting) taken.push(box);
    }
    watch.observe(paper, { subtree: true, childList: true, attributes: true, attributeFilter: ["transform"] });
  }

  let waiting = 0;
  function soon() {
    clearTimeout(waiting);
    waiting = setTimeout(lay, 60);
  }
  const watch = new MutationObserver((changes) => {
    if (changes.some(({ target }) => desk.overlay()?.contains(target) || target === paper)) soon();
  });
  // Zoomed, there is more room; dragged along, nothing changes.
  new MutationObserver(() => { if (desk.scale() !== laidAt) soon(); }).observe(stage, { attributes: true, attributeFilter: ["style"] });

  // Whoever points at a mark sees its line in the list, and the other way round.
  function near(event) {
    const pin = event.target.closest && desk.pinAt(event.target);
    const row = pin ? rowOf(pin) : event.target.closest?.("#mark-list tbody tr");
    const address = row?.querySelector("a[hx-get]")?.getAttribute("hx-get");
    for (const old of document.querySelectorAll(".pin-near, .row-near, .card-near")) old.classList.remove("pin-near", "row-near", "card-near");
    row?.classList.add("row-near");
    if (address) desk.overlay().querySelector(`[data-mark="${address}"]`)?.classList.add("pin-near");
    if (address) layer.querySelector(`[data-card="${address}"]`)?.classList.add("card-near");
  }
  for (const kind of ["pointerover", "focusin"]) document.querySelector(".guide-desk").addEventListener(kind, near);

  const picture = paper.querySelector("img");
  picture.decode().then(() => readPicture(picture)).catch(() => null).finally(soon);
  soon();
})();
