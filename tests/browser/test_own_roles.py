"""A role of the series' own from its page to a flag's way out: added by keys, locked, and found at the desk by its sign."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from bible.models import Lock, Part, Series
from guides.models import Guide, Mark
from tests.browser.moves import fits, point_of_page
from tests.factories import make_lock, make_member

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

Visit = Callable[..., Any]


@pytest.mark.parametrize("width", [1280, 360])
def test_a_lead_adds_a_role_by_keys_and_locks_it(visit: Visit, series: Series, coat: Part, width: int) -> None:
    page = visit(make_member(series, "lead"), series.get_absolute_url(), viewport={"width": width, "height": 740})
    page.click("a:has-text('roles and kinds')")
    page.focus("[name='role-3-name']")
    page.keyboard.type("line hold")
    page.keyboard.press("Tab")
    page.keyboard.type("LH")
    fits(page, width)
    page.keyboard.press("Enter")
    page.get_by_role("link", name="Change them").wait_for()
    assert "line hold" in page.locator("main").inner_text()
    page.goto(page.url.split("/s/")[0] + coat.costume.subject.get_absolute_url())
    page.click("a:has-text('All codes as a table')")
    page.fill("[name='form-0-line-hold']", "R")
    page.click("button:has-text('Lock all of it')")
    page.wait_for_url(f"**{coat.costume.subject.get_absolute_url()}")
    assert Lock.objects.filter(part=coat, role="line-hold", withdrawn_at=None).count() == 1
    assert "line hold" in page.locator("main").inner_text()


def test_the_desk_finds_it_by_its_sign(
    visit: Visit, colourist: Any, guide: Guide, series: Series, coat: Part
) -> None:
    series.roles_data = [*series.roles_data, {"key": "line-hold", "name": "line hold", "sign": "LH"}]
    series.save(update_fields=["roles_data"])
    make_lock(coat, "R", role="line-hold")
    page = visit(colourist, guide.get_absolute_url())
    page.wait_for_load_state("networkidle")
    page.mouse.click(*point_of_page(page, 0.3, 0.4))
    page.wait_for_function("() => document.activeElement?.name === 'written'")
    page.keyboard.type("R")
    page.keyboard.press("Tab")
    page.keyboard.type("coat lh")
    option = page.locator("#part-options [role=option]")
    option.first.wait_for()
    assert [" ".join(text.split()) for text in option.all_inner_texts()] == ["Ada Penn, work coat: coat line hold R"]
    page.keyboard.press("Enter")
    page.locator("#panel .answer-word").wait_for()
    mark = Mark.objects.get()
    assert (mark.role, mark.tint == mark.expected) == ("line-hold", True)
