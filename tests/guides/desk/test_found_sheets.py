"""Likely codes looked over together: each answered as proposed or otherwise, or struck; one yes, one undo."""

from __future__ import annotations

import re
from typing import Any

import pytest
from django.test import Client

from bible.models import Part, Series
from guides.desk.services import undo
from guides.found.asking import offer_of
from guides.models import FoundCode, Guide, Mark
from tests.factories import (
    make_costume,
    make_found,
    make_guide,
    make_issue,
    make_lock,
    make_part,
    make_search,
    make_series,
    make_subject,
)
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
    assert (offer.sheet.numbered, offer.question) == (tuple(rows), None)
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
    assert not offer.sheet
    assert offer.question is not None
    assert offer.question.found == rows[3]
    undo(guide=guide, by=lead, key="")
    assert set(offer_of(guide).sheet.numbered) == set(rows[:3]), "what was struck stays struck"


def test_striking_all_marks_nothing(lead_client: Client, guide: Guide) -> None:
    rows = [likely(guide, y=0.1 * n) for n in (1, 2)]
    lead_client.post(address("take-likely-codes", guide), {"saying": ",".join(str(row.pk) for row in rows)})
    assert not Mark.objects.exists()
    assert FoundCode.objects.filter(doubted=True).count() == 2


def test_likely_codes_are_looked_over_panel_by_panel(guide: Guide) -> None:
    elsewhere = [likely(guide, y=0.1 * n, clue=ELSEWHERE) for n in (4, 5)]
    here = [likely(guide, y=0.1 * n) for n in (1, 2, 3)]
    assert offer_of(guide).sheet.numbered == (*here, *elsewhere)
    more = [likely(guide, y=0.1 * n) for n in range(6, 11)]
    assert offer_of(guide).sheet.numbered == (*here, *more, elsewhere[0]), "no more than there are figure keys"


def test_a_code_that_is_looked_over_may_be_answered_otherwise(lead_client: Client, guide: Guide) -> None:
    coat, scarf = make_part(guide.series), make_part(guide.series)
    first = likely(guide, part=coat, owners=[[coat.pk, "base", 0.5], [scarf.pk, "shade", 0.4]])
    second = likely(guide, y=0.2)
    own, other = offer_of(guide).sheet.numbered_lines[0].choices
    assert (own.part, other.part, other.role) == (coat, scarf, "shade")
    said = {"saying": f"{first.pk},{second.pk}", f"take-{first.pk}": other.saying, f"take-{second.pk}": second.saying}
    lead_client.post(address("take-likely-codes", guide), said)
    assert {(mark.found, mark.part) for mark in Mark.objects.live()} == {(first, scarf), (second, None)}
    first.refresh_from_db()
    assert first.outcome == FoundCode.Outcome.CORRECTED


def test_what_is_likelier_still_and_what_is_sure_needs_no_figure_and_is_taken_with_the_rest(
    lead_client: Client, guide: Guide
) -> None:
    numbered, beside, sure = likely(guide, y=0.1), make_found(guide, p_part=0.9, y=0.2), make_found(guide, y=0.3)
    offer = offer_of(guide)
    assert (offer.sheet.numbered, offer.sheet.beside, offer.sure) == ((numbered,), (beside, sure), (sure,))
    assert [line.number for line in (*offer.sheet.numbered_lines, *offer.sheet.lines_beside)] == [1, 0, 0]
    said = {"saying": f"{numbered.pk},{beside.pk},{sure.pk}"}
    said |= {f"take-{row.pk}": row.saying for row in (numbered, beside)}
    lead_client.post(address("take-likely-codes", guide), said)
    assert {mark.found for mark in Mark.objects.live()} == {numbered, beside}
    offer = offer_of(guide)
    assert (offer.sure, offer.question and offer.question.found) == ((), sure), "what was struck is sure no more"
    sure.refresh_from_db()
    assert sure.was_sure, "it counts among those that were wrong"


def test_codes_that_are_all_sure_need_no_sheet(guide: Guide) -> None:
    make_found(guide, y=0.1), make_found(guide, y=0.2)
    assert not offer_of(guide).sheet


@pytest.fixture
def two_in_one_colour(guide: Guide) -> tuple[FoundCode, FoundCode, Part]:
    """Two codes of one panel that Ada’s coat and boots would carry, and Eve’s too; Eve’s coat."""
    parts = {}
    for name in ("Ada", "Eve"):
        costume = make_costume(make_subject(guide.series, name=name), name="work coat")
        for part, code in (("coat", "YR3B2"), ("boots", "Y")):
            parts[name, part] = make_part(costume=costume, name=part)
            make_lock(parts[name, part], code)
    make_search(guide, panels=[[0, 0, 400, 600]], bordering=[[1, 2]])
    rows = []
    for area, code, part in ((1, "YR3B2", "coat"), (2, "Y", "boots")):
        owners = [[parts["Ada", part].pk, "base", 0.5], [parts["Eve", part].pk, "base", 0.4]]
        readings = [[guide.series.read(code).packed, 0.99]]
        clue = {"x": 100.0, "y": 100.0 * area, "area": area, "panel": 0, "readings": readings, "paint": readings}
        more = {"part": parts["Ada", part], "owners": owners, "p_part": 0.5, "clue": clue | {"size": 40.0}}
        rows.append(make_found(guide, code, y=0.2 * area, area=area, **more))
    return rows[0], rows[1], parts["Eve", "coat"]


def test_what_stands_below_a_changed_line_is_asked_anew_and_nothing_is_saved(
    lead_client: Client, guide: Guide, two_in_one_colour: tuple[FoundCode, FoundCode, Part]
) -> None:
    coat, boots, hers = two_in_one_colour
    said = {"saying": f"{coat.pk},{boots.pk}", f"take-{coat.pk}": f"{hers.pk}|base|YR3B2"}
    answered = lead_client.get(address("sheet-anew", guide), said)
    lines = answered.content.decode()
    assert f"take-{coat.pk}" not in lines
    assert "Eve, work coat: boots" in re.sub(r"\s+", " ", lines).split("</option>")[0]
    before = boots.part
    boots.refresh_from_db()
    assert (boots.part, boots.decided_at) == (before, None)
    assert not Mark.objects.exists()


@pytest.mark.parametrize("saying", ["999999|base|Y", "0|nonsense|Y", "0|base|"])
def test_a_sheet_is_not_asked_anew_by_nonsense(lead_client: Client, guide: Guide, saying: str) -> None:
    row = likely(guide)
    answered = lead_client.get(address("sheet-anew", guide), {"saying": f"{row.pk},x", f"take-{row.pk}": saying})
    assert (answered.status_code, answered.content.decode()) == (422, "That is no answer to a code of this page.")


def test_a_sheet_of_strangers_has_no_lines(lead_client: Client, guide: Guide) -> None:
    stranger = likely(make_guide(make_issue(make_series())))
    answered = lead_client.get(address("sheet-anew", guide), {"saying": f"{stranger.pk}"})
    assert (answered.status_code, answered.content.strip()) == (200, b"")


def test_a_line_has_every_answer_that_a_question_has(lead_client: Client, guide: Guide) -> None:
    parts = [make_part(guide.series) for _ in range(6)]
    elsewhere = [[part.pk, "base", 0.01] for part in parts]
    rows = [likely(guide, y=0.1 * n, part=make_part(guide.series), elsewhere=elsewhere) for n in (1, 2)]
    asked = offer_of(guide, rows[0].pk).question
    assert asked is not None
    line = offer_of(guide).sheet.numbered_lines[0]
    assert [choice.saying for choice in line.choices] == [choice.saying for choice in asked.choices]
    assert line.choices[-1].part == parts[-1]
    said = {"saying": f"{rows[0].pk},{rows[1].pk}", f"take-{rows[0].pk}": line.choices[-1].saying}
    lead_client.post(address("take-likely-codes", guide), said)
    assert [mark.part for mark in Mark.objects.live()] == [parts[-1]]


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
    assert [line.asks_for_place for line in offer_of(guide).sheet.numbered_lines] == [False, True]
    assert lead_client.get(guide.get_absolute_url()).content.decode().count("Look where its ring stands") == 1


def test_a_single_likely_code_and_what_is_unlike_the_bible_are_asked(guide: Guide) -> None:
    one = likely(guide)
    likely(guide, y=0.2, differs=True)
    offer = offer_of(guide)
    assert not offer.sheet
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
