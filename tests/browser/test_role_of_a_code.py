"""A code that another role of the part is locked to: the base comes first, and the other role is asked for, not taken."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from bible.models import Part, Series
from guides.models import Agreement, Guide, Mark
from tests.browser.moves import point_of_page, press
from tests.factories import make_lock

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

Visit = Callable[..., Any]


@pytest.fixture
def shaded(series: Series, coat: Part) -> Part:
    make_lock(coat, "YR", role="shade")
    return coat


def write(page: Any, code: str, part: str) -> None:
    page.mouse.click(*point_of_page(page, 0.3, 0.4))
    page.wait_for_function("() => document.activeElement?.name === 'written'")
    page.keyboard.type(code)
    page.keyboard.press("Tab")
    page.keyboard.type(part)
    page.locator("#part-options [role=option]").first.wait_for()


def options(page: Any) -> list[str]:
    return [" ".join(text.split()) for text in page.locator("#part-options [role=option]").all_inner_texts()]


def test_a_base_in_its_shades_code_is_asked_about_and_stays_a_flagged_base(
    visit: Visit, colourist: Any, guide: Guide, shaded: Part
) -> None:
    page = visit(colourist, guide.get_absolute_url())
    page.wait_for_load_state("networkidle")
    write(page, "r y", "co")
    assert options(page) == ["Ada Penn, work coat: coat YR3B2", "Ada Penn, work coat: coat shade YR"]
    page.keyboard.press("Enter")
    asked = page.locator("#panel .offer")
    assert "YR is the shade of this part, the base is YR3B2." in " ".join(asked.inner_text().split())
    assert Mark.objects.count() == 0, "asked first"
    press(page, "Enter", "Differs from the bible")
    mark = Mark.objects.get()
    assert (mark.role, mark.agreement) == ("base", Agreement.FLAGGED)


@pytest.mark.parametrize("by", ["the button", "the list"])
def test_a_shade_is_placed_as_one_by_whoever_says_so(
    visit: Visit, colourist: Any, guide: Guide, shaded: Part, by: str
) -> None:
    page = visit(colourist, guide.get_absolute_url())
    page.wait_for_load_state("networkidle")
    write(page, "YR", "co")
    if by == "the list":
        page.keyboard.press("ArrowDown")
    else:
        page.keyboard.press("Enter")
        page.get_by_role("button", name="It is the shade").click()
    press(page, "Enter", "Agrees with the bible")
    assert Mark.objects.get().role == "shade"
    assert "shade" in page.locator("#mark-list tbody tr").inner_text()


def test_a_code_of_the_base_is_placed_at_once(visit: Visit, colourist: Any, guide: Guide, shaded: Part) -> None:
    page = visit(colourist, guide.get_absolute_url())
    page.wait_for_load_state("networkidle")
    write(page, "YR3B2", "co")
    press(page, "Enter", "Agrees with the bible")
    assert Mark.objects.get().role == "base"
