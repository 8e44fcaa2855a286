"""What is taken with one key: nothing that two codes claim, nothing that the paint speaks against."""

from __future__ import annotations

from typing import Any

import pytest

from bible.models import Part, Series
from guides.found.services import ask_the_rest
from guides.found.sureness import say_what_is_sure
from guides.models import FoundCode, Guide
from tests.factories import make_found, make_guide, make_issue, make_mark, make_part

pytestmark = pytest.mark.django_db


@pytest.fixture
def guide(series: Series) -> Guide:
    return make_guide(make_issue(series))


@pytest.fixture
def part(guide: Guide) -> Part:
    return make_part(guide.series)


def told(guide: Guide) -> list[bool]:
    rows = list(FoundCode.objects.filter(guide=guide).select_related("mark"))
    say_what_is_sure(rows)
    return [row.was_sure for row in rows]


def test_one_part_claimed_twice_is_sure_of_neither(guide: Guide, part: Part) -> None:
    make_found(guide, part=part)
    make_found(guide, part=part, role="shade")
    assert told(guide) == [True, True]
    make_found(guide, part=part, y=0.2)
    assert told(guide) == [False, True, False]


def test_what_somebody_gave_to_a_part_counts_and_what_was_set_aside_does_not(guide: Guide, part: Part) -> None:
    make_found(guide, part=part)
    gone = make_found(guide, part=part, y=0.2, decided_at="2001-01-01T00:00Z")
    assert told(guide) == [True, False]
    gone.mark = make_mark(guide, "YR3B2", part=part)
    gone.save()
    assert told(guide)[0] is False


def test_background_may_be_told_as_often_as_it_is_there(guide: Guide) -> None:
    make_found(guide)
    make_found(guide, y=0.2)
    assert told(guide) == [True, True]


def test_nobodys_is_sure_only_where_there_are_no_parts(guide: Guide) -> None:
    make_found(guide)
    ask_the_rest(guide=guide)
    assert [row.was_sure for row in FoundCode.objects.all()] == [True]
    make_part(guide.series)
    ask_the_rest(guide=guide)
    assert [row.was_sure for row in FoundCode.objects.all()] == [False]


@pytest.mark.parametrize(("share", "sure"), [(0.9, True), (0.31, True), (0.29, False), (0.0, False)])
def test_paint_has_to_speak_for_the_code(guide: Guide, part: Part, share: float, sure: bool) -> None:
    clue: dict[str, Any] = {"readings": [[7, 0.99]], "paint": [[7, 0.5 * share], [9, 0.5]]}
    make_found(guide, part=part, clue=clue)
    assert told(guide) == [sure]
