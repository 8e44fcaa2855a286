"""What is no code, and what looks alike: set aside by one yes, and asked last after it."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client

from bible.models import Series
from guides.desk.services import redo, undo
from guides.found.asking import offer_of
from guides.models import Deed, FoundCode, Guide
from tests.factories import make_found, make_guide, make_issue
from tests.guides.desk.test_found_views import answer

pytestmark = pytest.mark.django_db


@pytest.fixture
def guide(series: Series, lead: Any) -> Guide:
    return make_guide(make_issue(series), by=lead)


def test_what_looks_alike_is_set_aside_with_one_yes_and_back_with_one_undo(
    lead_client: Client, guide: Guide, lead: Any
) -> None:
    first, second, third = (make_found(guide, y=0.1 * n, p=0.5, p_part=0.2) for n in (1, 2, 3))
    for more in ({"p": 0.99}, {"how": "line"}, {"top": 0.1, "bottom": 0.3}):
        make_found(guide, **({"y": 0.8, "p": 0.5, "p_part": 0.2} | more))
    question = offer_of(guide, first.pk).question
    assert question is not None
    assert question.alike == (second, third)
    page = lead_client.get(f"{guide.get_absolute_url()}?found={first.pk}").content.decode()
    assert 'data-found-key="n"' in page
    for _ in range(2):  # sent twice, done once
        answer(lead_client, first, "aside", **{f"take-{second.pk}": "aside", f"take-{third.pk}": "aside"})
    assert set(FoundCode.objects.set_aside()) == {first, second, third}
    assert str(Deed.objects.get()) == "setting aside 3 codes"
    undo(guide=guide, by=lead, key="")
    assert FoundCode.objects.waiting().count() == 6
    redo(guide=guide, by=lead, key="")
    assert set(FoundCode.objects.set_aside()) == {first, second, third}
    assert {row.decided_by for row in FoundCode.objects.set_aside()} == {lead}


def test_what_looks_like_one_set_aside_is_asked_last_and_on_no_sheet(lead_client: Client, guide: Guide) -> None:
    none, like, other, clear = (make_found(guide, y=0.2 * n, p=0.8, p_part=0.7) for n in (1, 2, 3, 4))
    FoundCode.objects.filter(pk__in=[other.pk, clear.pk]).update(p=0.95)
    assert {other, clear, none, like} == set(offer_of(guide).sheet.rows)
    answer(lead_client, none, "aside")
    assert set(offer_of(guide).sheet.rows) == {other, clear}
    answer(lead_client, other, "aside")
    asked = offer_of(guide).question
    assert asked is not None
    assert asked.found == clear


def test_a_code_of_another_page_is_not_set_aside_along(lead_client: Client, guide: Guide) -> None:
    found, elsewhere = make_found(guide), make_found(make_guide(guide.issue))
    answer(lead_client, found, "aside", **{f"take-{elsewhere.pk}": "aside"})
    assert set(FoundCode.objects.set_aside()) == {found}
