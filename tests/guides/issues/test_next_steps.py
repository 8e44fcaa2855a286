"""A page that has nothing to show says what the series lacks first, and leads there."""

from __future__ import annotations

import re

import pytest
from django.test import Client
from django.urls import reverse

from bible.models import Series
from bible.models.permissions import MemberRole, Rights
from guides.issues.next_steps import NextStep, next_step
from tests.factories import make_guide, make_issue, make_mark, make_part
from tests.pages import member_client

pytestmark = pytest.mark.django_db

EMPTY = (
    "bible", "lookup", "issues", "flags", "fades", "sinking", "proofs", "proposals", "palette", "palette-compare",
    "palette-near", "palette-old", "going-out", "assignments", "settle", "series-paint", "series-codes",
    "continuity-report",
)  # fmt: skip
LEAD = Rights(MemberRole.LEAD)


def button(client: Client, page: str, series: Series) -> tuple[str, str]:
    """Address and words of the step's button on a page."""
    html = client.get(reverse(page, args=[series.slug])).content.decode()
    found = re.findall(r'next-step"[^>]*>\s*<a class="button main" href="([^"]+)"\s*>([^<]+)</a>', html)
    assert len(found) == 1, (page, found)
    return found[0][0], " ".join(found[0][1].split())


@pytest.mark.parametrize("page", EMPTY)
def test_every_page_of_a_fresh_series_has_the_button_for_the_next_step(
    page: str, lead_client: Client, series: Series
) -> None:
    there, words = button(lead_client, page, series)
    assert words == "Add a subject"
    assert lead_client.get(there).status_code == 200


def test_the_steps_come_one_after_the_other_until_a_page_is_marked(
    lead_client: Client, lead: object, series: Series
) -> None:
    said = []
    for make in (
        lambda: make_part(series),
        lambda: make_issue(series, number="3"),
        lambda: make_guide(series.issues.get(), page="7", by=lead),
    ):
        make()
        there, words = button(lead_client, "flags", series)
        assert lead_client.get(there).status_code == 200
        said.append(words)
    assert said == ["Add an issue", "Upload guides for issue 3", "Mark page 7 of issue 3"]
    make_mark(series.guides.get(), "YR")
    assert next_step(series, LEAD) is None
    assert "next-step" not in lead_client.get(reverse("flags", args=[series.slug])).content.decode()


@pytest.mark.parametrize("role", [MemberRole.EDITOR, MemberRole.FILL_IN, MemberRole.GUEST])
def test_who_may_not_do_it_is_told_who_does(role: MemberRole, series: Series) -> None:
    assert next_step(series, Rights(role)) == NextStep("A lead colourist adds the first subject.")
    page = member_client(series, role.value).get(reverse("flags", args=[series.slug])).content.decode()
    assert "A lead colourist adds the first subject." in page
    assert reverse("new-subject", args=[series.slug]) not in page
