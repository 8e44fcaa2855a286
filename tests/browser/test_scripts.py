"""The pages that scripts of ours make something of, opened in a browser with break-out text in every field: what a
script puts into the page afterwards is text as well."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from bible.models import Membership
from tests.browser.moves import forgive
from tests.pages import client_of
from tests.test_scripts import pages, poison
from tests.world import World

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

ON_EVERY_PAGE = ("htmx", "js/page.js", "js/pocket_forget.js")
BROKEN = """() => [...document.querySelectorAll('*')].filter((found) =>
  found.localName.startsWith('xss') || [...found.attributes].some((one) => one.name.startsWith('on'))
  || /^\\s*javascript:/i.test(found.getAttribute('href') || '')).map((found) => found.outerHTML.slice(0, 200))"""


def own_scripts(page: str) -> bool:
    sources = [part.split('"')[0] for part in page.split('<script src="')[1:]]
    return any(not any(usual in source for usual in ON_EVERY_PAGE) for source in sources)


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
    for path in scripted:
        page.goto(path)
        page.wait_for_load_state("networkidle")
        assert page.evaluate(BROKEN) == [], path
        for field in page.locator("input[type=search], #pocket-words").all():
            if field.is_visible():
                field.fill("xss")
        for mark in page.locator("[data-mark], .mark-row a").all()[:2]:
            if mark.is_visible():
                mark.hover(force=True)
        page.wait_for_load_state("networkidle")
        assert page.evaluate(BROKEN) == [], path
    forgive(page, "Failed to load resource")
