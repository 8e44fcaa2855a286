"""Every page of the URLconf in a browser: nothing in the way of anybody, nothing that jumps, nothing heavy.

axe-core judges each page light and dark, narrow and wide. The pages are those of the role matrix' world, with more
marks; a page that is added to the URLconf is walked without being named here.
"""

from __future__ import annotations

import gzip
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
from django.conf import settings
from django.contrib.staticfiles import finders
from django.test import Client
from django.urls import reverse

from bible.models import Membership
from tests.factories import make_mark, make_part, make_series
from tests.world import ADDRESSES, SERIES_PREFIX, World, full_name, url

# Pages are the same on either database, and walking them takes a minute.
pytestmark = [pytest.mark.browser, pytest.mark.backend("sqlite"), pytest.mark.django_db(transaction=True)]

AXE = (Path(__file__).parent / "vendor" / "axe-core" / "axe.min.js").read_text(encoding="utf-8")
NARROW, WIDE = {"width": 360, "height": 780}, {"width": 1280, "height": 860}
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
DEPENDS_ON_GREYS = ["color-contrast", "link-in-text-block"]
HEAVIEST = 100_000
"""Bytes of style sheets and scripts of a first view, compressed."""
MOST_SHIFT = 0.05
INTERACTIVE_MS = 500
TRIES = 3
"""Loads of which the quickest counts: the machine does other things as well."""

JUDGE = """async ([tags, greys]) => {
  const page = document.documentElement;
  for (const part of document.querySelectorAll("[inert]")) part.inert = false;  // samples are judged as well
  const told = [];
  for (const [theme, runOnly] of [["light", {type: "tag", values: tags}], ["dark", {type: "rule", values: greys}]]) {
    page.dataset.theme = theme;
    const found = await axe.run(document, {runOnly, resultTypes: ["violations"]});
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
    over: document.documentElement.scrollWidth - document.documentElement.clientWidth,
    files: performance.getEntriesByType("resource").map((entry) => entry.name),
  }))));
  quiet();
})"""


@cache
def compressed(path: str) -> int:
    """How many bytes a static file travels as."""
    found = finders.find(path.removeprefix(f"/{settings.STATIC_URL.strip('/')}/"))
    assert found, path
    return len(gzip.compress(Path(str(found)).read_bytes(), 6))


def first_view(files: list[str]) -> int:
    paths = {urlsplit(file).path for file in files}
    return sum(compressed(path) for path in paths if path.endswith((".css", ".js")) and "/static/" in path)


def a_fuller_world() -> World:
    """The world with a mark of every standing on its guide."""
    world = World()
    guide, part, lead = world.things["guides"], world.things["parts"], world.people[Membership.Role.LEAD]
    bare = make_part(costume=part.costume, name="belt")
    for written, on in [("YR3B2", part), ("YR3", part), ("YR4", part), ("Y2", bare), ("B3", None)]:
        make_mark(guide, written, part=on, by=lead)
    return world


def paths_of(world: World) -> Iterator[str]:
    """Every address that has a page for a lead, and pages that an address alone does not show."""
    client = Client()
    client.force_login(world.people[Membership.Role.LEAD])
    for address in ADDRESSES:
        arguments = world.arguments(address)
        inside = address.route.startswith(SERIES_PREFIX)
        path = url(address, world.series, arguments) if inside else reverse(full_name(address), kwargs=arguments)
        response = client.get(path)
        if response.status_code == 200 and not response.streaming and b"<html" in response.content[:200]:
            yield path
    series, mark = world.series, world.things["marks"]
    yield f"{reverse('home')}?all"
    yield mark.get_absolute_url()
    yield f"{reverse('flags', args=[series.slug])}?standing=waived"
    yield f"{reverse('lookup', args=[series.slug])}?q=coat"
    yield f"{reverse('bible', args=[series.slug])}?q=nothing-like-it&issue=99"
    yield reverse("join", args=[world.token])
    for room in ("series", "bible", "issues", "palette", "flags", "proofs", "people", "continuity-report"):
        yield reverse(room, args=["empty"])
    yield "/there-is-no-such-page/"


class Walker:
    """One page of the browser that is led from address to address."""

    def __init__(self, page: Any) -> None:
        self.page = page
        self.faults: list[str] = []

    def fault(self, path: str, words: str) -> None:
        self.faults.append(f"{path}: {words}")

    def visit(self, path: str) -> None:
        self.load(path, NARROW)
        self.judge(path, "narrow")
        self.load(path, WIDE)
        self.judge(path, "wide")

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
        if seen["over"] > 0:
            self.fault(path, f"{seen['over']} px wider than {viewport['width']}")
        if (weight := first_view(seen["files"])) >= HEAVIEST:
            self.fault(path, f"{weight} bytes of style and script")

    def judge(self, path: str, how: str) -> None:
        self.page.evaluate(AXE)
        for words in self.page.evaluate(JUDGE, [TAGS, DEPENDS_ON_GREYS]):
            self.fault(path, f"{how}, {words}")


def test_every_page(chromium: Any, live_server: Any) -> None:
    world = a_fuller_world()
    lead = world.people[Membership.Role.LEAD]
    Membership.objects.create(series=make_series(slug="empty"), user=lead, role=Membership.Role.LEAD)
    paths = list(paths_of(world))
    assert len(paths) > 90, "the walk found the pages"
    client = Client()
    client.force_login(lead)
    context = chromium.new_context(base_url=live_server.url, service_workers="block", reduced_motion="reduce")
    context.add_cookies([{"name": "sessionid", "value": client.cookies["sessionid"].value, "url": live_server.url}])
    walker = Walker(context.new_page())
    for path in paths:
        walker.visit(path)
    walker.page.goto("/")
    walker.page.keyboard.press("?")
    walker.page.wait_for_selector("#keys-map[open] dl.keys")
    walker.judge("the map of keys", "wide")
    walker.page.wait_for_load_state("networkidle")
    context.close()
    assert walker.faults == [], f"{len(walker.faults)} faults:\n" + "\n".join(walker.faults)


BAD = """<!doctype html><html lang="en-GB" data-theme="light"><head><title>Bad</title><style>
:root { color-scheme: light; } :root[data-theme="dark"] { color-scheme: dark; }
body { margin: 0; background: light-dark(white, black); color: #222; } div { width: 500px; } main { inline-size: auto; }
</style></head><body><main><p>Hardly seen in the dark</p><div>wide</div><input></main></body></html>"""


def test_the_judges_see_what_is_wrong(chromium: Any) -> None:
    """A page with faults of each sort, so that silence above means something."""
    context = chromium.new_context()
    walker = Walker(context.new_page())
    walker.page.route("**/*", lambda route: route.fulfill(body=BAD, content_type="text/html"))
    walker.load("http://bad.example/", NARROW)
    walker.judge("bad", "narrow")
    context.close()
    told = "\n".join(walker.faults)
    assert "140 px wider than 360" in told
    assert "light, label: input" in told
    assert "dark, color-contrast: p" in told
    assert "light, color-contrast" not in told
