"""A browser page that is led through the house and judges what it sees: for everyone, still, light, quick."""

from __future__ import annotations

import gzip
import re
from functools import cache
from html.parser import HTMLParser
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from django.conf import settings
from django.contrib.staticfiles import finders

AXE = (Path(__file__).parent / "vendor" / "axe-core" / "axe.min.js").read_text(encoding="utf-8")
NARROW, WIDE = {"width": 320, "height": 640}, {"width": 1280, "height": 860}
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
ALL_RULES: dict[str, Any] = {"type": "tag", "values": TAGS}
GREYS: dict[str, Any] = {"type": "rule", "values": ["color-contrast", "link-in-text-block"]}
"""What another theme, or forced colours, can make wrong."""
ROOM: dict[str, Any] = {"type": "rule", "values": [*GREYS["values"], "target-size", "scrollable-region-focusable"]}
"""What another width can make wrong. The other rules read the document, which is the same at every width."""
HEAVIEST = 100_000
"""Bytes of style sheets and scripts of a first view, compressed."""
MOST_SHIFT = 0.05
INTERACTIVE_MS = 500
TRIES = 6
"""Loads of which the quickest counts, tried only after a slow one: the machine does other things as well."""

# Style sheets are not fetched a second time (preload): only a rule about turned screens reads them.
# In forced colours the browser keeps the fill of text from what it tells, though not from what it paints; axe asks it first.
JUDGE = """async (rounds) => {
  const page = document.documentElement, tell = CSSStyleDeclaration.prototype.getPropertyValue;
  CSSStyleDeclaration.prototype.getPropertyValue = function (name) {
    return tell.call(this, name === "-webkit-text-fill-color" ? "color" : name);
  };
  for (const part of document.querySelectorAll("[inert]")) part.inert = false;  // samples are judged as well
  const told = [];
  for (const [theme, runOnly] of rounds) {
    page.dataset.theme = theme;
    const found = await axe.run(document, {runOnly, resultTypes: ["violations"], preload: false});
    for (const one of found.violations) for (const node of one.nodes.slice(0, 3)) {
      const checks = node.any.concat(node.all, node.none).map((check) => check.message.slice(0, 120));
      told.push(`${theme}, ${one.id}: ${node.target.join(" ")} (${checks.join("; ")})`);
    }
  }
  return told;
}"""
MEASURE = """() => new Promise((done) => {
  let shift = 0;
  new PerformanceObserver((list) => {
    for (const entry of list.getEntries()) if (!entry.hadRecentInput) shift += entry.value;
  }).observe({type: "layout-shift", buffered: true});
  const quiet = () => (document.querySelector(".htmx-request") ? setTimeout(quiet, 20) : requestAnimationFrame(() => setTimeout(() => done({
    shift,
    interactive: performance.getEntriesByType("navigation")[0].domInteractive,
    files: performance.getEntriesByType("resource").map((entry) => entry.name),
  }))));
  quiet();
})"""
# A row of a table says what its links are about; elsewhere a link that leads elsewhere is called otherwise.
CALLED_ALIKE = """() => {
  const called = new Map();
  for (const link of document.querySelectorAll("#main a[href]:not(tr a, [inert] a, svg a)")) {
    const name = (link.getAttribute("aria-label") || link.textContent).replace(/\\s+/g, " ").trim();
    if (name) called.set(name, (called.get(name) || new Set()).add(link.getAttribute("href")));
  }
  return [...called].filter(([, places]) => places.size > 1).map(([name, places]) => `${name}: ${[...places].slice(0, 3).join(", ")}`);
}"""
OVER = "document.documentElement.scrollWidth - document.documentElement.clientWidth"


@cache
def compressed(path: str) -> int:
    """How many bytes a static file travels as."""
    found = finders.find(path.removeprefix(f"/{settings.STATIC_URL.strip('/')}/"))
    assert found, path
    return len(gzip.compress(Path(str(found)).read_bytes(), 6))


def first_view(files: list[str]) -> int:
    paths = {urlsplit(file).path for file in files}
    return sum(compressed(path) for path in paths if path.endswith((".css", ".js")) and "/static/" in path)


class Walker:
    """One page of the browser that is led from address to address.

    A page is loaded once, at the first of two widths; what moves while it loads is seen there. Then the window is
    made the other width and the greys are changed under the loaded page.
    """

    def __init__(self, page: Any, *widths: dict[str, int]) -> None:
        self.page = page
        self.widths = widths or (NARROW, WIDE)
        self.faults: list[str] = []
        page.on("console", self._hear)
        page.on("pageerror", lambda error: self.fault(urlsplit(page.url).path, str(error)))

    def _hear(self, said: Any) -> None:
        """What the console complains of, the content policy's reports included. That a page itself is refused is none,
        nor that service workers are kept out of the walk, nor that a browser which is led on before it knows a page's
        icon asks for one where they used to lie."""
        asked_for = urlsplit(said.location["url"]).path
        of_the_walk = asked_for in (urlsplit(self.page.url).path, "/favicon.ico")
        expected = (of_the_walk and said.text.startswith("Failed to load resource")) or "by Playwright" in said.text
        if said.type in ("error", "warning") and not expected:
            self.fault(urlsplit(self.page.url).path, f"{said.type}: {said.text} ({said.location['url']})")

    def fault(self, path: str, words: str) -> None:
        self.faults.append(f"{path}: {words}")

    def visit(self, path: str) -> None:
        first, second = self.widths
        self.load(path, first)
        self.judge(path, ["light", ALL_RULES], ["dark", GREYS])
        self.judge_forced(path)
        for words in self.page.evaluate(CALLED_ALIKE):
            self.fault(path, f"called alike: {words}")
        self.page.set_viewport_size(second)
        self.fits(path, second)
        self.judge(path, ["dark", ROOM])

    def visit_answer(self, path: str, html: str) -> None:
        """Judge a page that an address alone does not bring: the answer to a form, which is that form and more words."""
        first, second = self.widths
        self.page.route(f"**{path}", lambda route: route.fulfill(body=html, content_type="text/html; charset=utf-8"))
        self.load(path, first)
        self.page.unroute(f"**{path}")
        self.judge(path, ["light", ALL_RULES], ["dark", GREYS])
        self.page.set_viewport_size(second)
        self.fits(path, second)

    def load(self, path: str, viewport: dict[str, int]) -> None:
        self.page.set_viewport_size(viewport)
        quickest = float("inf")
        for _ in range(TRIES):
            self.page.goto(path)
            seen = self.page.evaluate(MEASURE)
            quickest = min(quickest, seen["interactive"])
            if quickest < INTERACTIVE_MS:
                break
        if quickest >= INTERACTIVE_MS:
            self.fault(path, f"interactive after {quickest:.0f} ms")
        if seen["shift"] >= MOST_SHIFT:
            self.fault(path, f"moves by {seen['shift']:.3f} at {viewport['width']} px")
        if (weight := first_view(seen["files"])) >= HEAVIEST:
            self.fault(path, f"{weight} bytes of style and script")
        self.fits(path, viewport)
        self.page.evaluate(AXE)

    def fits(self, path: str, viewport: dict[str, int]) -> None:
        if (over := self.page.evaluate(OVER)) > 0:
            self.fault(path, f"{over} px wider than {viewport['width']}")

    def judge_forced(self, path: str) -> None:
        """As somebody sees it whose system has a few colours for everything."""
        self.page.emulate_media(forced_colors="active")
        self.judge(f"{path}, forced colours", ["light", GREYS])
        self.page.emulate_media(forced_colors="none")

    def judge(self, path: str, *rounds: list[Any]) -> None:
        width = self.page.viewport_size["width"]
        for words in self.page.evaluate(JUDGE, list(rounds)):
            self.fault(path, f"{width} px, {words}")


class _Shapes(HTMLParser):
    """Gathers what kinds of things a page is made of."""

    VOID = frozenset({"area", "br", "col", "hr", "img", "input", "link", "meta", "source", "wbr"})

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = ["", ""]
        self.found: set[tuple[str, ...]] = set()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        named = re.sub(r"\d+", "", " ".join(f"{name}={value}" for name, value in attrs if name in ("class", "type")))
        said = " ".join(sorted(name for name, _ in attrs))
        shape = f"{tag} {named} {said}"
        self.found.add((*self.open[-2:], shape))
        if tag not in self.VOID:
            self.open.append(shape)

    def handle_endtag(self, tag: str) -> None:
        if tag not in self.VOID and len(self.open) > 2:
            self.open.pop()


def shapes_of(html: str) -> set[tuple[str, ...]]:
    """What kinds of things a page is made of: each element with its class and attributes, inside which two others."""
    reader = _Shapes()
    reader.feed(html)
    return reader.found
