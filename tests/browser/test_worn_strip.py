"""When a costume is worn, set on the strip of its timeline: with the mouse, with the keys, with a finger."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.urls import reverse

from bible.models import Costume, Issue, Part, Series
from tests.browser.moves import fits, forgive
from tests.factories import make_guide, make_issues, make_mark, make_member

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

Visit = Callable[..., Any]
PHONE = {"viewport": {"width": 360, "height": 740}, "has_touch": True}


@pytest.fixture
def lead(series: Series) -> Any:
    return make_member(series, "lead")


@pytest.fixture
def issues(series: Series) -> list[Issue]:
    return make_issues(series, 8)


@pytest.fixture
def timeline(series: Series, coat: Part, issues: list[Issue]) -> str:
    for issue in issues:
        make_mark(make_guide(issue), "YR3B2", part=coat)
    return reverse("timeline", args=[series.slug, coat.costume.subject_id])


def worn_in(coat: Part, issues: list[Issue]) -> list[str]:
    costume = Costume.objects.get(pk=coat.costume_id)
    return [issue.number for issue in issues if costume.in_use_at(issue.position)]


def agree(page: Any) -> None:
    page.get_by_role("button", name="Save with these consequences").click()
    page.get_by_role("heading", name="Ada Penn").wait_for()
    forgive(page, "422")


def cell(page: Any, number: str) -> Any:
    return page.locator(f'[data-worn-strip] [data-number="{number}"] .worn-hold')


def test_the_mouse_paints(visit: Visit, lead: Any, timeline: str, coat: Part, issues: list[Issue]) -> None:
    page = visit(lead, timeline)
    cell(page, "3").hover()
    page.mouse.down()
    cell(page, "6").hover()
    page.mouse.up()
    cell(page, "4").click()
    words = page.locator("[data-worn-words]")
    assert words.inner_text() == "up to issue 2, issue 4, from issue 7 on"
    page.get_by_role("button", name="Save when it is worn").click()
    page.get_by_text("This is what it would do").wait_for()
    assert worn_in(coat, issues) == list("12345678"), "nothing is saved before a yes"
    assert page.locator("[data-worn-words]").inner_text() == "up to issue 2, issue 4, from issue 7 on"
    agree(page)
    assert worn_in(coat, issues) == ["1", "2", "4", "7", "8"]
    assert page.get_by_text("worn up to issue 2, issue 4, from issue 7 on").is_visible()


def test_the_keys_set_it(visit: Visit, lead: Any, timeline: str, coat: Part, issues: list[Issue]) -> None:
    page = visit(lead, timeline)
    page.locator("[data-worn-strip]").focus()
    for key in ("Home", "Space", "Shift+ArrowRight", "Shift+ArrowRight", "End", "Space", "ArrowLeft", "Space"):
        page.keyboard.press(key)
    assert page.locator("[data-worn-words]").inner_text() == "issues 4 to 7"
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    agree(page)
    assert worn_in(coat, issues) == ["4", "5", "6", "7"]


def test_a_finger_taps_and_the_numbers_say_the_same(
    visit: Visit, lead: Any, timeline: str, coat: Part, issues: list[Issue]
) -> None:
    page = visit(lead, timeline, **PHONE)
    page.get_by_role("link", name="By issue numbers").tap()
    page.get_by_label("up to and including issue").first.fill("5")
    assert page.locator("[data-worn-words]").inner_text() == "up to issue 5"
    cell(page, "2").tap()
    assert page.locator("[name=to_issue]").input_value() == "1"
    assert page.locator("[name=from_issue_2]").input_value() == "3"
    cell(page, "7").tap()
    assert page.locator("[name=from_issue_3]").input_value() == "7", "there is a pair more"
    fits(page, 360)
    page.get_by_role("button", name="Save", exact=True).tap()
    agree(page)
    assert worn_in(coat, issues) == ["1", "3", "4", "5", "7"]
