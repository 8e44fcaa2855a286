"""Pages are given with the mouse, seen first by whoever has them, and read for."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from typing import Any

import pytest
from django.utils import timezone

from bible.models import Part, Series
from guides.models import Assignment, Guide
from tests.browser.moves import fits
from tests.factories import make_mark

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def test_pages_are_given_seen_and_read_for(
    visit: Callable[..., Any], series: Series, lead: Any, colourist: Any, guide: Guide, coat: Part
) -> None:
    make_mark(guide, "YR3", part=coat, by=lead)
    due = timezone.localdate() + dt.timedelta(days=4)
    page = visit(lead, f"/s/{series.slug}/issues/")
    page.locator("#main th a").get_by_text(guide.issue.number, exact=True).click()
    page.get_by_role("link", name="Who does what").click()
    page.get_by_role("textbox", name="Pages").fill("7-8")
    page.get_by_label("To", exact=True).first.select_option(str(colourist.pk))
    page.get_by_label("To be in by").fill(due.isoformat())
    page.get_by_role("button", name="Give them").click()
    page.get_by_text("2 pages given to").wait_for()
    page.get_by_role("checkbox", name="8", exact=True).check()
    page.get_by_role("button", name="Take them back").click()
    page.get_by_text("1 page taken back").wait_for()
    assert Assignment.objects.get().due == due

    theirs = visit(colourist, f"/s/{series.slug}/", viewport={"width": 360, "height": 740}, has_touch=True)
    theirs.get_by_role("heading", name="My pages", level=2).wait_for()
    theirs.get_by_role("link", name=f"issue {guide.issue.number}", exact=True).tap()
    theirs.get_by_text("Marked on these pages").wait_for()
    assert "YR3B2" in theirs.locator("#main").inner_text()
    fits(theirs, theirs.viewport_size["width"])
