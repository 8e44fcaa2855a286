"""Likely codes looked over together: each answered as proposed or otherwise, or struck; one yes, one undo."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client

from bible.models import Series
from guides.desk.services import undo
from guides.found.asking import offer_of
from guides.models import FoundCode, Guide, Mark
from tests.factories import make_found, make_guide, make_issue, make_part
from tests.guides.desk.test_found_views import ELSEWHERE, address, answer

pytestmark = pytest.mark.django_db


@pytest.fixture
def guide(series: Series, lead: Any) -> Guide:
    return make_guide(make_issue(series), by=lead)


def likely(guide: Guide, **more: Any) -> FoundCode:
    """A code that is likely and not sure."""
    return make_found(guide, p_part=0.7, **more)


def test_likely_codes_are_looked_over_together_and_struck_ones_asked_alone(
    lead_client: Client, guide: Guide, lead: Any
) -> None:
    rows = [likely(guide, y=0.1 * n) for n in range(1, 5)]
    offer = offer_of(guide)
    assert (offer.likely, offer.question) == (tuple(rows), None)
    assert [place.number for place in offer.places] == [1, 2, 3, 4]
    page = lead_client.get(guide.get_absolute_url()).content.decode()
    assert page.count('<select name="take-') == 4
    said = {"saying": ",".join(str(row.pk) for row in rows), "key": "k" * 9}
    said |= {f"take-{row.pk}": row.saying for row in rows[:3]} | {f"take-{rows[3].pk}": ""}
    for _ in range(2):  # sent twice, done once
        answered = lead_client.post(address("take-likely-codes", guide), said)
    assert answered.status_code == 302
    assert Mark.objects.live().count() == 3
    offer = offer_of(guide)
    assert offer.likely == ()
    assert offer.question is not None
    assert offer.question.found == rows[3]
    undo(guide=guide, by=lead, key="")
    assert set(offer_of(guide).likely) == set(rows[:3]), "what was struck stays struck"


def test_striking_all_marks_nothing(lead_client: Client, guide: Guide) -> None:
    rows = [likely(guide, y=0.1 * n) for n in (1, 2)]
    lead_client.post(address("take-likely-codes", guide), {"saying": ",".join(str(row.pk) for row in rows)})
    assert not Mark.objects.exists()
    assert FoundCode.objects.filter(doubted=True).count() == 2


def test_likely_codes_are_looked_over_panel_by_panel(guide: Guide) -> None:
    elsewhere = [likely(guide, y=0.1 * n, clue=ELSEWHERE) for n in (4, 5)]
    here = [likely(guide, y=0.1 * n) for n in (1, 2, 3)]
    assert offer_of(guide).likely == (*here, *elsewhere)
    more = [likely(guide, y=0.1 * n) for n in range(6, 11)]
    assert offer_of(guide).likely == (*here, *more, elsewhere[0]), "no more than there are figure keys"


def test_a_code_that_is_looked_over_may_be_answered_otherwise(lead_client: Client, guide: Guide) -> None:
    coat, scarf = make_part(guide.series), make_part(guide.series)
    first = likely(guide, part=coat, owners=[[coat.pk, "base", 0.5], [scarf.pk, "shade", 0.4]])
    second = likely(guide, y=0.2)
    own, other = offer_of(guide).sheet[0].choices
    assert (own.part, other.part, other.role) == (coat, scarf, "shade")
    said = {"saying": f"{first.pk},{second.pk}", f"take-{first.pk}": other.saying, f"take-{second.pk}": second.saying}
    lead_client.post(address("take-likely-codes", guide), said)
    assert {(mark.found, mark.part) for mark in Mark.objects.live()} == {(first, scarf), (second, None)}
    first.refresh_from_db()
    assert first.outcome == FoundCode.Outcome.CORRECTED


def test_nonsense_among_codes_that_are_looked_over_takes_none(lead_client: Client, guide: Guide) -> None:
    rows = [likely(guide, y=0.1 * n) for n in (1, 2)]
    said = {"saying": ",".join(str(row.pk) for row in rows), f"take-{rows[0].pk}": "999999|base|Y"}
    told = lead_client.post(
        address("take-likely-codes", guide), said | {f"take-{rows[1].pk}": rows[1].saying}, follow=True
    )
    assert "That is no answer" in told.content.decode()
    assert not Mark.objects.exists()
    assert not FoundCode.objects.filter(doubted=True).exists()


def test_a_sheet_says_where_to_look_at_the_place(guide: Guide, lead_client: Client) -> None:
    likely(guide, y=0.1), likely(guide, y=0.2, p_place=0.5)
    assert [line.asks_for_place for line in offer_of(guide).sheet] == [False, True]
    assert lead_client.get(guide.get_absolute_url()).content.decode().count("Look where its ring stands") == 1


def test_a_single_likely_code_and_what_is_unlike_the_bible_are_asked(guide: Guide) -> None:
    one = likely(guide)
    likely(guide, y=0.2, differs=True)
    offer = offer_of(guide)
    assert offer.likely == ()
    assert offer.question is not None
    assert offer.question.found == one


def test_what_was_answered_meanwhile_is_not_taken_again(lead_client: Client, guide: Guide) -> None:
    rows = [likely(guide, y=0.1 * n) for n in (1, 2)]
    said = {"saying": ",".join(str(row.pk) for row in rows)} | {f"take-{row.pk}": row.saying for row in rows}
    answer(lead_client, rows[0], "aside")
    lead_client.post(address("take-likely-codes", guide), said)
    assert [mark.found for mark in Mark.objects.live()] == [rows[1]]
    told = lead_client.post(address("take-likely-codes", guide), said | {"key": "another-key"}, follow=True)
    assert "None of the codes that were shown waits any more" in told.content.decode()
