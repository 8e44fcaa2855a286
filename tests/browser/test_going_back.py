"""Going away and back: marks just made are there, and what was half typed is kept as sent work is."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from guides.models import Guide, Mark
from tests.browser.moves import field_has_focus, place, point_of_page, queue_is_empty
from tests.factories import make_mark

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

Visit = Callable[..., Any]


def away(page: Any) -> None:
    page.locator(".rooms a", has_text="Flags").click()
    page.wait_for_url("**/flags/")


def told(page: Any, words: str) -> Any:
    line = page.locator("#kept li", has_text=words)
    line.wait_for()
    return line


def test_back_shows_the_marks_just_made(visit: Visit, colourist: Any, guide: Guide) -> None:
    page = visit(colourist, guide.get_absolute_url())
    for at, code in enumerate(("YR", "B2", "Y"), 1):
        place(page, (0.2 * at, 0.4), code)
    queue_is_empty(page)
    away(page)
    page.go_back()
    page.locator("#stage.live").wait_for()
    assert page.locator("#overlay .pin").count() == 3
    assert page.locator("#mark-list tbody tr").count() == 3


def test_a_half_typed_mark_is_found_again(visit: Visit, colourist: Any, guide: Guide, coat: Any) -> None:
    page = visit(colourist, guide.get_absolute_url())
    page.mouse.click(*point_of_page(page, 0.3, 0.4))
    page.keyboard.type("YR3")
    page.keyboard.press("Tab")
    page.keyboard.type("coa")
    assert page.locator("#kept").is_hidden(), "nothing is said while it is being typed"
    away(page)
    page.go_back()
    told(page, "YR3 coa").locator("button", has_text="Open it").click()
    field_has_focus(page, "written")
    assert (page.input_value("[name=written]"), page.input_value("[name=part]")) == ("YR3", "coa")
    page.fill("[name=part]", "coat")
    page.focus("[name=written]")
    page.keyboard.press("Enter")
    page.wait_for_function("() => document.querySelectorAll('#mark-list tbody tr').length === 1")
    queue_is_empty(page)
    mark = Mark.objects.get()
    assert (mark.written, mark.x, mark.y) == ("YR3", pytest.approx(0.3, abs=0.01), pytest.approx(0.4, abs=0.01))
    assert page.locator("#kept").is_hidden()


def test_a_half_typed_mark_is_found_again_by_touch(visit: Visit, colourist: Any, guide: Guide) -> None:
    page = visit(colourist, guide.get_absolute_url(), viewport={"width": 360, "height": 720}, has_touch=True)
    page.locator("#stage").scroll_into_view_if_needed()
    page.touchscreen.tap(*point_of_page(page, 0.5, 0.3))
    field_has_focus(page, "written")
    page.keyboard.type("YR3")
    page.reload()
    told(page, "YR3").locator("button", has_text="Open it").tap()
    field_has_focus(page, "written")
    assert page.input_value("[name=written]") == "YR3"
    page.keyboard.press("Enter")
    page.wait_for_function("() => document.querySelectorAll('#mark-list tbody tr').length === 1")


def test_a_click_elsewhere_drops_nothing_and_escape_means_it(visit: Visit, colourist: Any, guide: Guide) -> None:
    page = visit(colourist, guide.get_absolute_url())
    page.mouse.click(*point_of_page(page, 0.3, 0.4))
    page.keyboard.type("YR3")
    page.mouse.click(*point_of_page(page, 0.6, 0.6))
    told(page, "YR3")
    page.keyboard.type("B2")
    page.keyboard.press("Escape")
    assert page.locator("#kept li").count() == 1
    told(page, "YR3").locator("button", has_text="Throw away").click()
    assert page.locator("#kept").is_hidden()
    queue_is_empty(page)
    assert Mark.objects.count() == 0


def test_a_half_written_correction_is_found_again(visit: Visit, colourist: Any, guide: Guide) -> None:
    mark = make_mark(guide, "YR")
    page = visit(colourist, mark.get_absolute_url())
    page.fill("#panel [name=written]", "YR2")
    away(page)
    page.goto(guide.get_absolute_url())
    told(page, "Mark 1: YR2").locator("button", has_text="Open it").click()
    field_has_focus(page, "written")
    assert page.input_value("#panel [name=written]") == "YR2"
    page.keyboard.press("Enter")
    page.locator("#mark-list tbody", has_text="YR2").wait_for()
    queue_is_empty(page)
