"""Letters typed over the page are codes, not commands; a tap opens the form where it stands, and the page stays put.

Letters on the page are codes: one typed over it opens the form with it, so commands of the desk take Alt. A form opens
on ``click``, when a tap's own mouse events have moved the focus already; on a small screen it is a sheet at the foot,
and nothing scrolls. What is kept and what waits to be placed is said in boxes laid over the page, which stays still.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from guides.models import Guide, Mark
from tests.browser.moves import field_has_focus, point_of_page, queue_is_empty
from tests.factories import make_mark

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

Visit = Callable[..., Any]


def placed(page: Any, code: str) -> Mark:
    page.keyboard.press("Enter")
    page.wait_for_function("() => document.querySelectorAll('#mark-list tbody tr').length === 1")
    queue_is_empty(page)
    mark = Mark.objects.live().get()
    assert mark.written == code
    return mark


@pytest.mark.parametrize("code", ["R3B", "C25 M50", "gr > y2", "W"])
def test_a_code_typed_with_the_pointer_over_the_page_is_a_code(
    visit: Visit, colourist: Any, guide: Guide, code: str
) -> None:
    page = visit(colourist, guide.get_absolute_url())
    page.mouse.move(*point_of_page(page, 0.3, 0.4))
    page.mouse.move(*point_of_page(page, 0.31, 0.4))
    page.keyboard.type(code)
    field_has_focus(page, "written")
    assert page.input_value("#panel [name=written]") == code
    assert page.get_attribute('[data-mode="mark"]', "aria-pressed") == "true"
    assert "marks-hidden" not in page.get_attribute("#stage", "class")
    page.keyboard.press("Enter")
    queue_is_empty(page)
    mark = Mark.objects.live().get()
    assert mark.both_written.replace(" ", "") == code.replace(" ", "")
    assert (mark.x, mark.y) == (pytest.approx(0.31, abs=0.01), pytest.approx(0.4, abs=0.01))


def test_a_code_typed_at_the_cross_by_keys_alone(visit: Visit, colourist: Any, guide: Guide) -> None:
    page = visit(colourist, guide.get_absolute_url())
    page.focus("#stage")
    page.keyboard.press("ArrowDown")
    page.keyboard.type("MYC")
    mark = placed(page, "MYC")
    assert (mark.x, mark.y) == (pytest.approx(0.5, abs=0.01), pytest.approx(0.51, abs=0.01))


def test_commands_take_alt_from_anywhere(visit: Visit, colourist: Any, guide: Guide) -> None:
    page = visit(colourist, make_mark(guide, "YR").get_absolute_url())
    page.keyboard.press("Alt+m")
    assert page.locator("[data-view=marks]").get_attribute("aria-pressed") == "false"
    page.keyboard.press("Alt+m")
    page.keyboard.press("Alt+e")
    field_has_focus(page, "written")
    page.keyboard.press("Alt+g")
    assert page.get_attribute('[data-mode="mark"]', "aria-pressed") == "true", "not while somebody writes"
    page.focus("#stage")
    page.keyboard.press("Alt+g")
    assert page.get_attribute('[data-mode="arrow"]', "aria-pressed") == "true"
    page.keyboard.press("Alt+r")
    assert page.get_attribute('[data-mode="scene"]', "aria-pressed") == "true"
    page.keyboard.press("Alt+l")
    page.locator("#panel h2", has_text="Copy from last issue").wait_for()


@pytest.mark.parametrize(("width", "height"), [(360, 720), (820, 1180)])
def test_a_tap_opens_a_sheet_and_the_page_stays(
    visit: Visit, colourist: Any, guide: Guide, width: int, height: int
) -> None:
    page = visit(colourist, guide.get_absolute_url(), viewport={"width": width, "height": height}, has_touch=True)
    page.locator("#stage").scroll_into_view_if_needed()
    stood = page.evaluate("() => scrollY")
    for at, code in enumerate(("YR", "B2"), 1):
        page.touchscreen.tap(*point_of_page(page, 0.3 * at, 0.4))
        field_has_focus(page, "written")
        assert page.evaluate("() => scrollY") == stood
        sheet = page.locator("#panel-sheet").bounding_box()
        assert sheet["y"] + sheet["height"] == pytest.approx(height, abs=1)
        assert sheet["y"] > point_of_page(page, 0.3 * at, 0.4)[1], "the place is still seen"
        page.keyboard.type(code)
        page.keyboard.press("Enter")
        page.wait_for_function("(n) => document.querySelectorAll('#mark-list tbody tr').length === n", arg=at)
        assert page.evaluate("() => scrollY") == stood
        assert "open" not in page.get_attribute("#panel-sheet", "class").split()
    queue_is_empty(page)
    marks = Mark.objects.live().order_by("number")
    assert [mark.written for mark in marks] == ["YR", "B2"]
    assert [mark.x for mark in marks] == [pytest.approx(0.3, abs=0.01), pytest.approx(0.6, abs=0.01)]


def test_a_tap_low_on_the_page_is_seen_above_the_sheet_and_comes_back(
    visit: Visit, colourist: Any, guide: Guide
) -> None:
    page = visit(colourist, guide.get_absolute_url(), viewport={"width": 360, "height": 720}, has_touch=True)
    page.evaluate("() => document.getElementById('stage').scrollIntoView({ block: 'end' })")
    stood = point_of_page(page, 0.5, 0.9)
    page.touchscreen.tap(*stood)
    field_has_focus(page, "written")
    assert point_of_page(page, 0.5, 0.9)[1] < page.locator("#panel-sheet").bounding_box()["y"]
    page.locator("#panel-sheet .panel-close").tap()
    assert point_of_page(page, 0.5, 0.9) == pytest.approx(stood, abs=1)
    assert not page.locator("#panel-sheet .panel-close").is_visible()


def test_a_tap_on_a_mark_opens_it_and_dragging_with_a_finger_moves_the_page(
    visit: Visit, colourist: Any, guide: Guide
) -> None:
    make_mark(guide, "YR", x=0.5, y=0.3)
    page = visit(colourist, guide.get_absolute_url(), viewport={"width": 360, "height": 720}, has_touch=True)
    page.locator("#overlay .pin-disc").tap()
    page.locator("#panel h2", has_text="Mark 1").wait_for()
    assert page.locator("#panel-sheet .panel-close").is_visible()
