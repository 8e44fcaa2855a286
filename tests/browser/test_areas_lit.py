"""The desk lights up areas: under the pointer, at the cross, where a finger was, and the one that the open mark codes."""

from __future__ import annotations

import io
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from django.core.files.base import ContentFile
from PIL import Image

from guides.core.page_maps import map_of
from guides.models import Guide
from tests.browser.moves import centre_of, point_of_page
from tests.factories import make_guide, make_issue, make_mark, make_member
from tests.guides.imaging.press.test_printed import PAINTS

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.browser]

Visit = Callable[..., Any]

LEFT, RIGHT, PAPER = (0.3, 0.4), (0.7, 0.4), (0.5, 0.85)

CROSS = "document.querySelector('.desk-cursor').transform.baseVal.consolidate().matrix.e / desk.size.width"


@pytest.fixture
def guest(series: Any) -> Any:
    return make_member(series, "guest")


@pytest.fixture
def guide(series: Any, lead: Any) -> Guide:
    """Two painted boxes side by side on bare paper."""
    image = np.full((600, 400, 3), 246, np.uint8)
    image[80:400, 40:200], image[80:400, 200:360] = PAINTS[0], PAINTS[1]
    out = io.BytesIO()
    Image.fromarray(image).save(out, "JPEG", quality=95)
    made = make_guide(make_issue(series), by=lead)
    made.screen.save("tests/lit.jpg", ContentFile(out.getvalue()))
    return made


def lit(page: Any, which: str, area: int) -> None:
    """Waits until an area is lit up, or none (0)."""
    page.wait_for_function(
        "([which, area]) => (document.querySelector(`.${which}`)?.dataset.area ?? '') === area",
        arg=[which, str(area) if area else ""],
    )


def area_of(guide: Guide, place: tuple[float, float]) -> int:
    area = map_of(guide).area_at_fraction(*place)
    assert area is not None
    return area.id


def test_the_area_under_the_pointer_is_lit_and_bare_paper_is_not(visit: Visit, lead: Any, guide: Guide) -> None:
    page = visit(lead, guide.get_absolute_url())
    for place, area in (
        (LEFT, area_of(guide, LEFT)),
        (RIGHT, area_of(guide, RIGHT)),
        (PAPER, 0),
        (LEFT, area_of(guide, LEFT)),
    ):
        page.mouse.move(*point_of_page(page, *place))
        lit(page, "area-here", area)
    page.mouse.move(2, 2)
    lit(page, "area-here", 0)


def test_a_chosen_mark_and_a_new_one_tell_which_area_they_code(visit: Visit, lead: Any, guide: Guide) -> None:
    make_mark(guide, "YR", x=RIGHT[0], y=RIGHT[1])
    page = visit(lead, guide.get_absolute_url())
    lit(page, "area-chosen", 0)
    page.mouse.click(*centre_of(page, ".pin-disc"))
    lit(page, "area-chosen", area_of(guide, RIGHT))
    page.mouse.click(*point_of_page(page, *LEFT))
    page.locator(".pin-new").wait_for()
    lit(page, "area-chosen", area_of(guide, LEFT))


def test_a_mark_that_is_linked_to_shows_its_area(visit: Visit, lead: Any, guide: Guide) -> None:
    mark = make_mark(guide, "YR", x=RIGHT[0], y=RIGHT[1])
    page = visit(lead, f"{guide.get_absolute_url()}?mark={mark.pk}")
    lit(page, "area-chosen", area_of(guide, RIGHT))


def test_keys_light_areas_up_too(visit: Visit, lead: Any, guide: Guide) -> None:
    make_mark(guide, "YR", x=RIGHT[0], y=RIGHT[1])
    page = visit(lead, guide.get_absolute_url())
    page.focus(".pin")
    lit(page, "area-here", area_of(guide, RIGHT))
    page.focus("#stage")
    page.keyboard.press("ArrowLeft")
    page.locator(".desk-cursor").wait_for()
    while (place := page.evaluate(CROSS)) > LEFT[0]:
        page.keyboard.press("ArrowLeft")
        assert page.evaluate(CROSS) < place
    lit(page, "area-here", area_of(guide, (LEFT[0], 0.5)))


def test_a_touch_lights_the_area_up(visit: Visit, guest: Any, guide: Guide) -> None:
    page = visit(
        guest, guide.get_absolute_url(), viewport={"width": 360, "height": 740}, has_touch=True, is_mobile=True
    )
    page.touchscreen.tap(*point_of_page(page, *LEFT))
    lit(page, "area-here", area_of(guide, LEFT))


def test_outlines_are_asked_for_once(visit: Visit, lead: Any, guide: Guide) -> None:
    page = visit(lead, guide.get_absolute_url())
    for place in (LEFT, RIGHT, LEFT):
        page.mouse.move(*point_of_page(page, *place))
        lit(page, "area-here", area_of(guide, place))
    asked = "performance.getEntriesByType('resource').filter((one) => one.name.includes('/areas?')).length"
    assert page.evaluate(asked) == 1
