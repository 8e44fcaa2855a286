"""The look-up as people ask, what was decided between two issues, and a program that is told: by links, keys, touch."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from bible.models import Part, Series, Webhook
from guides.models import Guide
from tests.browser.moves import fits
from tests.factories import make_lock, make_part

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

Visit = Callable[..., Any]


@pytest.mark.parametrize(
    ("asked", "told"),
    [
        ("YR3B2", "coat"),
        ("b2 r3 y", "coat"),
        ("red scarf", "scarf"),
        ("scarf ada", "scarf"),
        ("scraf", "Nothing is called “scraf”: this is “scarf”"),
    ],
)
def test_the_look_up_answers_as_one_asks(
    visit: Visit, colourist: Any, lead: Any, guide: Guide, coat: Part, series: Series, asked: str, told: str
) -> None:
    make_lock(make_part(costume=coat.costume, name="scarf"), "R", by=lead)
    page = visit(colourist, f"/s/{series.slug}/", viewport={"width": 360, "height": 740})
    page.get_by_role("link", name="Look-up", exact=True).first.click()
    page.locator("main [name=q]").fill(asked)
    page.keyboard.press("Enter")
    page.locator("#found", has_text=told).wait_for()
    page.locator(".found > li:first-child", has_text="Ada Penn").wait_for()
    fits(page, 360)


def test_who_wore_a_code_once(
    visit: Visit, colourist: Any, lead: Any, guide: Guide, coat: Part, series: Series
) -> None:
    after = series.issues.create(number="9", position=guide.issue.position + 9)
    make_lock(coat, "B", by=lead, from_position=after.position)
    page = visit(colourist, f"/s/{series.slug}/")
    page.get_by_role("link", name="Look-up", exact=True).first.click()
    page.locator("main [name=q]").fill("YR3B2")
    page.keyboard.press("Enter")
    page.locator(".found-wore", has_text="YR3B2").wait_for()


def test_what_was_decided_between_two_issues_and_by_whom(
    visit: Visit, lead: Any, guide: Guide, coat: Part, series: Series
) -> None:
    after = series.issues.create(number="9", position=guide.issue.position + 9)
    make_lock(coat, "YR", by=lead, from_position=after.position, reason="it sank")
    page = visit(lead, f"/s/{series.slug}/", viewport={"width": 360, "height": 740}, has_touch=True)
    page.get_by_role("link", name="Activity").first.click()
    page.locator("#activity", has_text="it sank").wait_for()
    page.get_by_label("To issue").fill(guide.issue.number)
    page.keyboard.press("Enter")
    page.locator("#activity:not(:has-text('it sank'))").wait_for()
    page.get_by_label("To issue").fill("")
    page.locator("[name=who]").select_option(str(lead.pk))
    page.locator("#activity", has_text="it sank").wait_for()
    fits(page, 360)


def test_a_program_is_told(visit: Visit, lead: Any, series: Series) -> None:
    page = visit(lead, f"/s/{series.slug}/")
    page.get_by_role("link", name="People").first.click()
    page.get_by_role("link", name="programs that are told").press("Enter")
    page.get_by_label("Address").fill("https://hooks.example/bible")
    page.get_by_label("Address").press("Enter")
    page.get_by_label("Secret").wait_for()
    hook = Webhook.objects.get(series=series)
    page.get_by_role("button", name="Remove").press("Enter")
    page.get_by_text("No program is told anything.").wait_for()
    assert not Webhook.objects.filter(pk=hook.pk).exists()
