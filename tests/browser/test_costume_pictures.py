"""A costume in one picture beside its codes: on the bible's page, the subject's, its sheet and in the look-up, by links."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from bible.models import Part, Series
from guides.models import Guide
from tests.factories import make_mark

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def seen(page: Any, width: int, name: str) -> None:
    """A picture of this name has come, and nothing is pushed sideways."""
    picture = page.get_by_role("img", name=name).first
    picture.scroll_into_view_if_needed()
    page.wait_for_function("image => image.complete && image.naturalWidth > 0", arg=picture.element_handle())
    assert page.evaluate("document.documentElement.scrollWidth") <= width, page.url


@pytest.mark.parametrize("width", [1280, 360])
def test_each_page_shows_the_costume_beside_its_codes(
    visit: Callable[..., Any], lead: Any, guide: Guide, coat: Part, series: Series, width: int
) -> None:
    make_mark(guide, "YR3B2", part=coat)
    page = visit(lead, f"/s/{series.slug}/bible/", viewport={"width": width, "height": 800})
    seen(page, width, "Ada Penn, work coat")
    page.get_by_role("link", name="Ada Penn", exact=True).click()
    page.get_by_role("heading", name="Ada Penn").first.wait_for()
    seen(page, width, "Ada Penn, work coat")
    page.get_by_role("link", name="Colour sheet").first.click()
    seen(page, width, "Ada Penn as painted")
    page.get_by_role("link", name="Look-up", exact=True).first.click()
    page.locator("main [name=q]").fill("ada")
    seen(page, width, "Ada Penn, work coat")
    page.get_by_role("link", name="Ada Penn", exact=True).focus()
    page.keyboard.press("Enter")
    page.get_by_role("heading", name="Ada Penn").first.wait_for()
