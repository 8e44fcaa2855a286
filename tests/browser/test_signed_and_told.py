"""What was signed against what it is now, which codes changed, and how one wants word: by mouse, keyboard and touch."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from bible.models import NoticeChoice, Part, Series
from guides.core.services import rewrite_mark
from guides.models import Guide, Mark
from guides.signoff.services import sign_off
from tests.browser.moves import fits
from tests.factories import make_lock, make_mark

pytestmark = [pytest.mark.browser, pytest.mark.every_database, pytest.mark.django_db(transaction=True)]


def test_what_was_signed_and_what_moved(
    visit: Callable[..., Any], series: Series, lead: Any, colourist: Any, guide: Guide, coat: Part
) -> None:
    made = make_mark(guide, "YR3B2", part=coat, by=lead)
    sign_off(issue=guide.issue, by=lead, words="known")
    mark = Mark.objects.get(pk=made.pk)
    rewrite_mark(mark=mark, written="YR", part=coat, role="base", by=colourist)
    page = visit(lead, f"/s/{series.slug}/")
    page.get_by_role("heading", name="Signed off, and opened again").wait_for()
    page.get_by_role("link", name=f"Issue {guide.issue.number}", exact=True).click()
    page.get_by_role("link", name="What was signed, and what has moved since").click()
    row = page.get_by_role("row", name="7, 1").first
    assert "wim" in row.inner_text()
    assert "YR3B2" in row.inner_text()
    page.get_by_text("All that was signed: 1 mark").press("Enter")
    page.get_by_role("region", name="All that was signed").wait_for()


def test_which_codes_changed(visit: Callable[..., Any], series: Series, lead: Any, guide: Guide, coat: Part) -> None:
    make_lock(coat, "YR", by=lead, from_position=guide.issue.position + 1)
    series.issues.create(number="2", position=guide.issue.position + 2)
    page = visit(lead, f"/s/{series.slug}/activity/", viewport={"width": 360, "height": 740}, has_touch=True)
    page.get_by_role("link", name="Which codes changed").tap()
    page.get_by_role("row", name="Ada Penn").wait_for()
    page.get_by_label("to issue").fill(guide.issue.number)
    page.keyboard.press("Enter")
    page.get_by_text("No code differs between these two.").wait_for()
    fits(page, page.viewport_size["width"])


def test_how_one_wants_word(visit: Callable[..., Any], series: Series, colourist: Any) -> None:
    page = visit(colourist, f"/s/{series.slug}/people/")
    page.get_by_role("link", name="word by e-mail").press("Enter")
    page.get_by_label("Word comes").select_option("never")
    page.get_by_label("E-mail address").press("Enter")
    page.get_by_text("Saved how you want word.").wait_for()
    assert NoticeChoice.objects.get(user=colourist, series=None).how == "never"
