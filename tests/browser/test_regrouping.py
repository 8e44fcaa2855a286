"""Two that turn out to be one, from the subject's page: with the mouse, and with the keys alone."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.urls import reverse

from bible.models import Part, Series, Subject
from guides.models import Guide, Mark, Regrouping
from tests.browser.moves import fits, forgive
from tests.factories import make_costume, make_lock, make_mark, make_member, make_part, make_subject

pytestmark = [pytest.mark.browser, pytest.mark.every_database, pytest.mark.django_db(transaction=True)]

Visit = Callable[..., Any]
PHONE = {"viewport": {"width": 360, "height": 740}}


@pytest.fixture
def lead(series: Series) -> Any:
    return make_member(series, "lead")


@pytest.fixture
def stranger(series: Series, guide: Guide, coat: Part, lead: Any) -> Subject:
    subject = make_subject(series, name="Stranger")
    part = make_part(costume=make_costume(subject, name="work coat"), name="coat")
    make_lock(part, "Y", by=lead)
    make_mark(guide, "Y", part=part, by=lead)
    return subject


def test_merged_with_the_mouse_and_undone(
    visit: Visit, lead: Any, series: Series, stranger: Subject, coat: Part
) -> None:
    page = visit(lead, stranger.get_absolute_url())
    page.get_by_role("link", name="Merge or move").click()
    page.get_by_label("It is", exact=True).select_option(label="Ada Penn")
    page.get_by_role("button", name="Merge them").click()
    page.get_by_text("Both are locked here, to different codes").wait_for()
    assert Mark.objects.get().part_id != coat.pk, "nothing is done before a yes"
    page.get_by_role("button", name="Merge them with these consequences").click()
    page.locator("li strong", has_text="Stranger merged into Ada Penn").wait_for()
    forgive(page, "422")
    assert Mark.objects.get().part_id == coat.pk
    page.get_by_role("link", name="Undo").click()
    page.get_by_role("button", name="Undo it").click()
    page.get_by_text("undone by").wait_for()
    assert Mark.objects.get().part_id != coat.pk


def test_marks_given_to_another_part_with_the_keys(
    visit: Visit, lead: Any, series: Series, stranger: Subject, coat: Part
) -> None:
    page = visit(lead, reverse("regroup", args=[series.slug, stranger.pk]), **PHONE)
    page.get_by_label("Marks of").focus()
    for words in ("Stranger, work coat: coat", "", "", "Y", "Ada Penn, work coat: coat"):
        page.keyboard.type(words)
        page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    page.get_by_text("This is what it would do").wait_for()
    fits(page, 360)
    page.get_by_role("button", name="Give the marks to it with these consequences").focus()
    page.keyboard.press("Enter")
    page.locator("li strong", has_text="given to Ada Penn, work coat: coat").wait_for()
    forgive(page, "422")
    assert Mark.objects.get().part_id == coat.pk
    assert Regrouping.objects.get().by == lead
