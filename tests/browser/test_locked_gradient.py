"""A gradient locked from the subject's page, and a page's mark that fades to something else: by links and forms."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from bible.models import Part
from guides.models import FlagKind, Guide, Mark
from tests.browser.moves import fits
from tests.factories import make_mark

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.mark.parametrize("width", [1280, 360])
def test_a_lead_locks_a_gradient_and_sees_what_fades_otherwise(
    visit: Callable[..., Any], lead: Any, guide: Guide, coat: Part, width: int
) -> None:
    arrow = {"part": coat, "to": (0.4, 0.9)}
    wrong = make_mark(guide, "B", to_written="Y", x=0.4, y=0.4, **arrow)
    right = make_mark(guide, "B", to_written="W", x=0.4, y=0.5, **arrow)
    page = visit(lead, coat.costume.subject.get_absolute_url(), viewport={"width": width, "height": 860})
    page.get_by_role("link", name="Lock a code").first.click()
    page.locator("input[name=code]").fill("B to W downwards")
    page.locator("input[name=reason]").fill("the sea at dawn")
    page.locator("input[name=reason]").press("Enter")
    agree = page.get_by_role("button", name="Lock with these consequences")
    agree.wait_for()
    fits(page, width)
    agree.click()
    page.wait_for_url("**/bible/**")
    assert "B to W downwards" in page.locator("main").inner_text()
    fits(page, width)
    page.goto(wrong.get_absolute_url())
    page.locator("#panel .answer-word").wait_for()
    said = " ".join(page.locator("#panel").inner_text().split())
    assert "does not fade as it says" in said
    assert "B to Y" in said
    assert "B to W" in said
    fits(page, width)
    flags = {mark.pk: mark.flag_kind for mark in Mark.objects.all()}
    assert flags == {wrong.pk: FlagKind.FADES, right.pk: None}
    page.complaints[:] = [said for said in page.complaints if "422" not in said]  # shown first, as it should be
