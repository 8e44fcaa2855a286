"""The pages that scripts of ours make something of, opened in a browser with break-out text in every field: what a
script puts into the page afterwards is text as well."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

import pytest

from bible.models import Membership
from tests.browser.conftest import PATIENCE
from tests.browser.moves import forgive
from tests.pages import client_of
from tests.test_scripts import pages, poison
from tests.world import World

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

ON_EVERY_PAGE = ("htmx", "bible/web/page.js", "guides/booklets/pocket_forget.js")
AFTER_LOAD, AFTER_TYPING = 0.15, 0.5
"""Seconds without a request after which none is to come: fields of search wait up to 0.4 before they ask."""
BROKEN = """() => [...document.querySelectorAll('*')].filter((found) =>
  found.localName.startsWith('xss') || [...found.attributes].some((one) => one.name.startsWith('on'))
  || /^\\s*javascript:/i.test(found.getAttribute('href') || '')).map((found) => found.outerHTML.slice(0, 200))"""


def own_scripts(page: str) -> bool:
    sources = [part.split('"')[0] for part in page.split('<script src="')[1:]]
    return any(not any(usual in source for usual in ON_EVERY_PAGE) for source in sources)


class Traffic:
    """What a page has asked and not been answered yet. The browser's own “network idle” comes half a second late, and
    once for each page that is loaded: it says nothing of what scripts ask later."""

    def __init__(self, page: Any) -> None:
        self.page, self.under_way, self.moved = page, set[Any](), 0.0
        page.on("request", lambda request: self._tell(self.under_way.add, request))
        for answered in ("requestfinished", "requestfailed"):
            page.on(answered, lambda request: self._tell(self.under_way.discard, request))

    def _tell(self, kept: Callable[[Any], None], request: Any) -> None:
        kept(request)
        self.moved = time.monotonic()

    def rest(self, seconds: float) -> None:
        """Wait until nothing has been asked, answered or under way for so long."""
        began = self.moved = time.monotonic()
        while self.under_way or time.monotonic() - self.moved < seconds:
            assert time.monotonic() - began < PATIENCE / 1000, [request.url for request in self.under_way]
            self.page.wait_for_timeout(20)


def test_scripts_put_text_into_pages_as_text(visit: Callable[..., Any]) -> None:
    world = World()
    lead = world.people[Membership.Role.LEAD]
    poison(world)
    lead.refresh_from_db()
    client, scripted = client_of(lead), []
    for _, path in pages(world):
        found = client.get(path)
        if found.status_code == 200 and found.headers["Content-Type"].startswith("text/html"):
            scripted += [path] if own_scripts(found.content.decode()) else []
    assert len(scripted) >= 6, scripted
    page = visit(lead)
    traffic = Traffic(page)
    for path in scripted:
        traffic.under_way.clear()
        page.goto(path)
        traffic.rest(AFTER_LOAD)
        assert page.evaluate(BROKEN) == [], path
        touched = False
        for field in page.locator("input[type=search], #pocket-words").all():
            if field.is_visible():
                field.fill("xss")
                touched = True
        for mark in page.locator("[data-mark], .mark-row a").all()[:2]:
            if mark.is_visible():
                mark.hover(force=True)
                touched = True
        if touched:
            traffic.rest(AFTER_TYPING)
            assert page.evaluate(BROKEN) == [], path
    forgive(page, "Failed to load resource")
