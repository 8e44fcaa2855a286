"""What the spine answers, told apart from what it does: whoever calls it goes by the answer."""

from __future__ import annotations

import io
from typing import Any

import pytest

from bible.colour.shifts import Op, Shift, Step
from bible.colour.tints import Tint
from bible.locks.services import lock_rule, lock_tint
from bible.locks.stretches import first_position
from bible.locks.undoing import undo_moments
from bible.models import Issue, Lock, Series
from bible.models.fields import NoTint
from bible.series.holding import hold_places
from bible.series.refusals import Refused
from bible.series.services import move_issue
from guides.core.continuity import resolve_parts
from guides.core.services import add_guide
from guides.imaging.intake.take_in import take_in
from guides.models import Guide, Mark
from guides.signoff.queries import points_of
from guides.signoff.services import sign_off
from tests.factories import (
    make_guide,
    make_issue,
    make_issues,
    make_lock,
    make_mark,
    make_member,
    make_part,
    make_series,
    picture_bytes,
)

pytestmark = pytest.mark.django_db


def test_a_series_without_issues_begins_at_nought(series: Series) -> None:
    assert first_position(series.pk) == 0
    issue = make_issue(series)
    assert first_position(series.pk) == issue.position > 0


def test_a_decision_follows_what_held_where_it_begins_and_nothing_that_began_later(series: Series) -> None:
    part = make_part(series)
    later = make_lock(part, "Y", from_position=30)
    first = make_lock(part, "YR", from_position=10, to_position=40)
    assert first.follows is None
    assert make_lock(part, "B", from_position=20, to_position=30).follows == first
    later.refresh_from_db()
    assert later.withdrawn_at is not None


def test_a_code_by_rule_follows_its_base_and_keeps_its_rule(series: Series, lead: Any) -> None:
    part, rule = make_part(series), Shift((Step(Op.ADD, "c", 25),))
    make_lock(part, "YR")
    lock_rule(part=part, role="shade", rule=rule, from_position=0, by=lead)
    make_lock(part, "Y")
    shade = Lock.objects.standing().get(part=part, role="shade")
    assert (shade.tint, shade.rule) == (Tint(25, 0, 100), rule)
    assert Lock.objects.standing().get(part=part, role="base").rule == Shift(())


def test_taking_back_moments_says_what_it_took_back(series: Series, lead: Any) -> None:
    locks = [make_lock(make_part(series), code, by=lead) for code in ("YR", "B")]
    moments = [lock.decided_at for lock in locks]
    undone = undo_moments(series=series, moments=moments, by=lead)
    assert [one.at for one in undone] == sorted(moments, reverse=True)
    assert [[row.written for row in one.standing] for one in undone] == [["B"], ["YR"]]
    assert not Lock.objects.standing().filter(series=series).exists()


def test_a_place_that_has_moved_since_it_was_read_is_refused_and_one_that_has_not_is_held(series: Series) -> None:
    first, last = make_issues(series, 3)[::2]
    hold_places([first, None, last])
    move_issue(issue=Issue.objects.get(pk=last.pk), after=None)
    with pytest.raises(Refused, match=f"Issue {last.number} has been moved"):
        hold_places([first, last])
    last.refresh_from_db()
    hold_places([first, last])


def test_a_part_says_how_many_of_its_marks_it_wrote(series: Series, lead: Any) -> None:
    part, guide = make_part(series), make_guide(make_issue(series))
    marks = [make_mark(guide, code, part=part) for code in ("YR", "YR", "B")]
    lock = make_lock(part, "YR", by=lead)
    assert resolve_parts([part.pk]) == 0, "all of them are right already"
    Mark.objects.filter(pk__in=[marks[0].pk, marks[2].pk]).update(lock=None, expected=NoTint.NO_LOCK)
    assert resolve_parts([part.pk]) == 2
    assert set(Mark.objects.values_list("lock", flat=True)) == {lock.pk}


def test_a_new_scan_of_a_page_stays_with_whoever_coloured_it(series: Series, lead: Any, fill_in: Any) -> None:
    issue, data = make_issue(series), picture_bytes()

    def add(page: str, **said: Any) -> Guide:
        picture, original = take_in(io.BytesIO(data)), io.BytesIO(data)
        return add_guide(
            issue=issue, page=page, picture=picture, original=original, filename="7.jpg", by=lead, **said
        )

    assert add("7", colourist=fill_in).colourist == fill_in
    assert add("7").colourist == fill_in
    assert add("8").colourist == lead


def test_an_issues_points_are_of_its_own_series(series: Series, lead: Any) -> None:
    """Positions are the same numbers in every series."""
    issue, other = make_issue(series), make_issue(make_series())
    assert issue.position == other.position
    for each, code in ((issue, "YR"), (other, "B")):
        part = make_part(each.series)
        make_lock(part, "YR")
        make_mark(make_guide(each), code, part=part)
    assert points_of(series, issue).facts()["flags"] == {}
    assert points_of(other.series, other).open_flags == 1


def test_an_issue_that_is_opened_again_says_by_which_decision(series: Series, lead: Any) -> None:
    guide: Guide = make_guide(make_issue(series), by=lead)
    part = make_part(series)
    make_lock(part, "YR3B2", by=lead)
    make_mark(guide, "YR3B2", part=part)
    sign_off(issue=guide.issue, by=make_member(series, "editor"), words="as it is")
    lock_tint(part=part, role="base", tint=series.read("Y"), written="Y", from_position=0, by=lead)
    words = guide.issue.steps.get(kind="reopened").words
    assert "Y" in words
    assert "lock" in words
