"""Correcting a code beside “Paint disagrees”: Enter saves what was typed, whichever way one came there."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from guides.models import Guide, Mark, PaintReading
from tests.browser.moves import field_has_focus, queue_is_empty
from tests.factories import make_mark, make_paint

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

Visit = Callable[..., Any]


@pytest.fixture
def odd(guide: Guide) -> Mark:
    mark = make_mark(guide, "YR3", x=0.4, y=0.4)
    make_paint(mark)
    return mark


def open_it(page: Any) -> None:
    """From the list below the page to the form, with what the paint says in it."""
    page.locator("#mark-list tbody a").first.click()
    page.locator("#panel .paint-says", has_text="Paint disagrees").wait_for()


def corrected(page: Any, mark: Mark) -> None:
    page.locator("#mark-list tbody", has_text="YR2").wait_for()
    queue_is_empty(page)
    mark.refresh_from_db()
    assert mark.written == "YR2"
    assert not PaintReading.objects.filter(looked_at__isnull=False).exists(), "nobody called the wrong code meant"


def test_enter_saves_the_correction_by_mouse_and_keys(visit: Visit, colourist: Any, guide: Guide, odd: Mark) -> None:
    page = visit(colourist, guide.get_absolute_url())
    open_it(page)
    page.locator("#panel [name=written]").click()
    page.keyboard.press("ControlOrMeta+a")
    page.keyboard.type("YR2")
    page.keyboard.press("Enter")
    corrected(page, odd)


def test_enter_saves_the_correction_by_touch(visit: Visit, colourist: Any, guide: Guide, odd: Mark) -> None:
    page = visit(colourist, guide.get_absolute_url(), viewport={"width": 360, "height": 720}, has_touch=True)
    page.locator("#mark-list tbody a").first.tap()
    page.locator("#panel .paint-says", has_text="Paint disagrees").wait_for()
    page.locator("#panel [name=written]").tap()
    field_has_focus(page, "written")
    page.keyboard.press("ControlOrMeta+a")
    page.keyboard.type("YR2")
    page.keyboard.press("Enter")
    corrected(page, odd)


def test_as_meant_keeps_what_is_typed_and_is_taken_back(
    visit: Visit, colourist: Any, guide: Guide, odd: Mark
) -> None:
    page = visit(colourist, guide.get_absolute_url())
    disagreeing = PaintReading.objects.disagreeing()
    open_it(page)
    page.fill("#panel [name=written]", "YR2")
    page.click("#panel button:has-text('The code is as meant')")
    page.locator("#panel button", has_text="Ask again").wait_for()
    # The button that was pressed is gone: what stands in its place has the focus.
    page.wait_for_function("() => document.activeElement.innerText?.trim() === 'Ask again'")
    assert page.input_value("#panel [name=written]") == "YR2"
    assert page.locator("#overlay .pin-drop").count() == 0
    page.locator("#stage").focus()
    page.keyboard.press("Control+z")
    page.locator("#overlay .pin-drop").wait_for()
    assert disagreeing.exists()
    page.locator("#panel .paint-says", has_text="Paint disagrees").wait_for()
    page.click("#panel button:has-text('The code is as meant')")
    page.click("#panel button:has-text('Ask again')")
    page.locator("#panel button", has_text="The code is as meant").wait_for()
    assert disagreeing.exists()
    assert Mark.objects.get().written == "YR3"
