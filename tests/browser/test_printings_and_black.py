"""A second printing from an empty list to its hand-off, and black with codes of its own: by links, forms and keys."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from bible.models import Edition, Lock, Part, Series
from guides.models import Guide, Mark
from tests.browser.moves import fits
from tests.factories import make_mark

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

Visit = Callable[..., Any]


def shown_first(page: Any) -> None:
    """What would change is answered with 422, as it should be."""
    page.complaints[:] = [said for said in page.complaints if "422" not in said]


@pytest.mark.parametrize("width", [1280, 360])
def test_an_album_gets_a_code_of_its_own_and_the_hand_off_translates(
    visit: Visit, lead: Any, guide: Guide, coat: Part, series: Series, width: int
) -> None:
    make_mark(guide, "YR3B2", part=coat)
    page = visit(lead, coat.costume.subject.get_absolute_url(), viewport={"width": width, "height": 800})
    page.goto(f"/s/{series.slug}/bible/")
    page.get_by_role("link", name="Editions").first.click()
    page.get_by_role("link", name="New edition").click()
    page.fill("[name=name]", "Album")
    page.fill("[name=collects]", guide.issue.number)
    page.select_option("[name=press]", "web-coated-tr003")
    page.locator("[name=name]").press("Enter")
    page.get_by_role("heading", name="Album").wait_for()
    fits(page, width)
    page.get_by_role("link", name="Bible as this edition needs it").first.click()
    page.get_by_role("link", name="Ada Penn").first.click()
    page.get_by_role("link", name="Lock a code").first.click()
    page.fill("[name=code]", "YR")
    page.fill("[name=reason]", "coated paper")
    page.locator("[name=reason]").press("Enter")
    page.get_by_text("1 mark would need another code than now").wait_for()
    fits(page, width)
    page.locator("main form button.main").first.click()
    page.get_by_text("is locked to YR in the edition Album").wait_for()
    assert [lock.edition_id for lock in Lock.every_printing.filter(written="YR")] == [Edition.objects.get().pk]
    page.get_by_role("link", name="Album").first.click()
    for name in ("Palette", "Look-alikes", "Flags"):
        page.get_by_role("main").get_by_role("link", name=name, exact=True).click()
        page.locator(".edition-strip", has_text="codes are what it needs").wait_for()
        fits(page, width)
        page.go_back()
    page.get_by_role("link", name="Hand-off of issue").first.click()
    page.get_by_text("Needs another code than is written").wait_for()
    fits(page, width)
    assert not Mark.objects.flagged().exists(), "the first printing is as it was"
    shown_first(page)


@pytest.mark.parametrize("width", [1280, 360])
def test_a_lead_gives_black_codes_and_a_mark_carries_one(
    visit: Visit, lead: Any, guide: Guide, coat: Part, series: Series, width: int
) -> None:
    mark = make_mark(guide, "YRK3", part=coat)
    page = visit(lead, f"/s/{series.slug}/chart/", viewport={"width": width, "height": 800})
    page.get_by_role("link", name="Notation").click()
    page.get_by_text("black is the line art and has no code").wait_for()
    page.get_by_role("link", name="Change it").click()
    page.fill("[name=key_steps]", "alone = 100\n3 = 50")
    page.get_by_role("button", name="Show what it would change").click()
    page.get_by_text("YRK3").first.wait_for()
    fits(page, width)
    page.get_by_role("button", name="Yes, save it").click()
    page.get_by_text("Saved.").wait_for()
    page.get_by_role("link", name="All tints").click()
    page.get_by_text("key 50 %").first.wait_for()
    fits(page, width)
    mark.refresh_from_db()
    assert mark.tint == series.__class__.objects.get().read("YRK3")
    page.goto(mark.get_absolute_url())
    page.locator("#panel .answer-word").wait_for()
    assert "YRK3" in page.locator("#panel").inner_text()
    shown_first(page)
