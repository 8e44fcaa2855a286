"""A page of many flags stays readable: pennants that would hide it are small, and one that is pointed at is large."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from bible.models import Part
from guides.models import Guide
from tests.factories import make_mark

pytestmark = [pytest.mark.browser, pytest.mark.backend("sqlite"), pytest.mark.django_db(transaction=True)]

HEIGHTS = """() => [...document.querySelectorAll(".overlay .pin-flagged .pin-shape")]
    .map((pin) => pin.querySelector("path").getBoundingClientRect().height)"""


def test_pennants_are_small_where_they_would_hide_the_page(
    visit: Callable[..., Any], lead: Any, guide: Guide, coat: Part
) -> None:
    for at in range(4):
        make_mark(guide, "B", part=coat, x=0.2 + at / 5, y=0.5)
    page = visit(lead, guide.get_absolute_url(), viewport={"width": 1280, "height": 800})
    page.wait_for_selector(".card", state="attached")
    assert min(page.evaluate(HEIGHTS)) > 24, "a few are seen from afar"
    for at in range(205 - 4):
        make_mark(guide, "B", part=coat, x=0.05 + (at % 15) * 0.06, y=0.05 + (at // 15) * 0.065)
    page.reload()
    page.wait_for_selector(".stage.many-flags .card", state="attached")
    heights = page.evaluate(HEIGHTS)
    assert len(heights) == 205
    assert max(heights) < 24
    page.locator("#mark-list tbody tr").nth(100).hover()
    page.wait_for_selector(".pin-near", state="attached")
    assert sum(height > 24 for height in page.evaluate(HEIGHTS)) == 1
