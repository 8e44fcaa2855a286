"""A costume in one picture beside its codes: on the bible's page, the subject's, its sheet and in the look-up, by links."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from bible.models import Part, Series
from guides.models import Guide
from tests.browser.moves import fits
from tests.factories import make_guide, make_mark, picture_bytes

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def seen(page: Any, width: int, name: str) -> None:
    """A picture of this name has come, and nothing is pushed sideways."""
    picture = page.get_by_role("img", name=name).first
    picture.scroll_into_view_if_needed()
    page.wait_for_function("image => image.complete && image.naturalWidth > 0", arg=picture.element_handle())
    fits(page, width)


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
    seen(page, width, "Ada Penn, work coat, as painted")
    page.get_by_role("link", name="Look-up", exact=True).first.click()
    page.locator("main [name=q]").fill("ada")
    seen(page, width, "Ada Penn, work coat")
    page.get_by_role("link", name="Ada Penn", exact=True).focus()
    page.keyboard.press("Enter")
    page.get_by_role("heading", name="Ada Penn").first.wait_for()


@pytest.mark.parametrize(("width", "touch", "scripts"), [(1280, False, True), (360, True, True), (360, True, False)])
def test_a_lead_chooses_a_page_brings_a_drawing_in_and_goes_back(
    visit: Callable[..., Any],
    lead: Any,
    guide: Guide,
    coat: Part,
    series: Series,
    width: int,
    touch: bool,
    scripts: bool,
) -> None:
    make_mark(guide, "YR3B2", part=coat)
    make_mark(make_guide(guide.issue, page="8"), "YR3B2", part=coat)
    size = {"width": width, "height": 800}
    page = visit(lead, "/", viewport=size, has_touch=touch, java_script_enabled=scripts)

    def press(found: Any) -> None:
        (found.tap if touch else found.click)()

    page.goto(f"/s/{series.slug}/bible/")
    press(page.get_by_role("link", name="Ada Penn", exact=True))
    card = page.locator(".costume-card").first
    press(card.locator("summary", has_text="Edit work coat").first)
    press(card.get_by_role("link", name="Picture of work coat"))
    offered = page.get_by_role("button", name="Show this page")
    offered.nth(1).wait_for()
    press(offered.filter(has_text="page 7"))
    page.get_by_text("shown now").wait_for()
    fits(page, width)
    page.locator("[name=drawing]").set_input_files(
        {"name": "model.png", "mimeType": "image/png", "buffer": picture_bytes(form="PNG")}
    )
    press(page.get_by_role("button", name="Upload and show"))
    shown = page.locator("li", has=page.get_by_text("shown now"))
    shown.get_by_role("link", name="Model drawing of").wait_for()
    press(page.get_by_role("link", name="Ada Penn"))
    page.locator(".costume-card figcaption", has_text="model drawing of").wait_for()
    page.go_back()
    press(page.get_by_role("button", name="Show this one again").first)
    page.locator("li", has=page.get_by_text("shown now")).get_by_role("link", name="page 7").wait_for()
    press(page.get_by_role("button", name="Show the best-marked page"))
    page.get_by_text("Nothing now").wait_for()
