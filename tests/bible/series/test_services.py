"""Decisions about locks: history is kept, times never overlap, nobody's decision is undone unseen."""

from __future__ import annotations

from itertools import combinations
from typing import Any

import pytest

from bible.locks.services import StaleDecision, correct_lock, end_lock, last_decision, lock_tint
from bible.models import Lock, Membership, Series
from bible.models.permissions import Permission
from bible.series.refusals import Refused
from bible.series.services import add_issue, move_issue, start_series
from tests.factories import make_issue, make_issues, make_lock, make_part, make_user

pytestmark = pytest.mark.django_db


def standing(part: Any) -> list[tuple[str, int, int | None]]:
    """(code, from, to) of what stands, and a check that no two overlap and nothing was ever lost."""
    locks = list(Lock.objects.filter(part=part).standing().by_role(part.costume.subject.series.roles))
    for a, b in combinations([lock for lock in locks if lock.role == "base"], 2):
        first, second = sorted((a, b), key=lambda lock: lock.from_position)
        assert first.to_position is not None
        assert first.to_position <= second.from_position
    return [(lock.written, lock.from_position, lock.to_position) for lock in locks]


def test_a_later_change_leaves_earlier_issues_as_they_were(series: Series) -> None:
    part = make_part(series)
    make_lock(part, "YR3B2")
    make_lock(part, "YR", from_position=30)
    assert standing(part) == [("YR3B2", 0, 30), ("YR", 30, None)]


def test_an_earlier_issues_decision_ends_where_a_later_one_begins(series: Series) -> None:
    part = make_part(series)
    make_lock(part, "YR", from_position=30)
    make_lock(part, "YB", from_position=10)
    assert standing(part) == [("YB", 10, 30), ("YR", 30, None)]


def test_a_stretch_cut_out_of_the_middle_leaves_both_ends(series: Series) -> None:
    part = make_part(series)
    whole = make_lock(part, "YR3B2")
    make_lock(part, "B", from_position=20, to_position=40)
    assert standing(part) == [("YR3B2", 0, 20), ("B", 20, 40), ("YR3B2", 40, None)]
    whole.refresh_from_db()
    assert whole.withdrawn_at is not None
    assert whole.withdrawn_reason == "because"
    for rest in Lock.objects.standing().filter(written="YR3B2"):
        assert (rest.follows, rest.decided_by, rest.decided_at) == (whole, whole.decided_by, whole.decided_at)


def test_a_stretch_replaces_whatever_held_in_between(series: Series) -> None:
    part = make_part(series)
    for start in (0, 10, 20, 30):
        make_lock(part, "Y", from_position=start)
    make_lock(part, "W", from_position=5, to_position=35)
    assert standing(part) == [("Y", 0, 5), ("W", 5, 35), ("Y", 35, None)]


def test_every_row_ever_written_is_still_there(series: Series) -> None:
    part = make_part(series)
    seen: set[int] = set()
    for start in (0, 50, 25, 0):
        make_lock(part, "Y", from_position=start)
        now = set(Lock.objects.values_list("pk", flat=True))
        assert seen < now
        seen = now


def test_ending_and_correcting(series: Series, lead: Any) -> None:
    part = make_part(series)
    lock = make_lock(part, "YR3B2")
    correct_lock(lock=lock, tint=series.read("YR"), written="YR", by=lead, reason="misread")
    assert standing(part) == [("YR", 0, None)]
    corrected = Lock.objects.standing().get()
    assert corrected.follows == lock
    end_lock(lock=corrected, at_position=40, by=lead, reason="coat lost")
    assert standing(part) == [("YR", 0, 40)]
    for deed in (
        lambda: end_lock(lock=lock, at_position=1, by=lead, reason="x"),
        lambda: correct_lock(lock=lock, tint=lock.tint, written="Y", by=lead, reason="x"),
    ):
        with pytest.raises(Refused, match="does not hold any more"):
            deed()
    with pytest.raises(Refused, match="ends before that issue"):
        end_lock(lock=Lock.objects.standing().get(), at_position=40, by=lead, reason="x")
    with pytest.raises(Refused, match="needs a reason"):
        correct_lock(lock=Lock.objects.standing().get(), tint=lock.tint, written="Y", by=lead, reason="  ")


def test_somebody_elses_newer_decision_is_shown_first(series: Series, lead: Any) -> None:
    part = make_part(series)
    seen = last_decision(part, "base")
    make_lock(part, "YR3B2", by=lead)
    decision: dict[str, Any] = {
        "part": part,
        "role": "base",
        "tint": series.read("Y"),
        "written": "Y",
        "from_position": 0,
    }
    with pytest.raises(StaleDecision, match="lead locked YR3B2 here meanwhile"):
        lock_tint(**decision, by=lead, seen=seen)
    assert standing(part) == [("YR3B2", 0, None)]
    lock_tint(**decision, by=lead, seen=last_decision(part, "base"))
    assert standing(part) == [("Y", 0, None)]


@pytest.mark.parametrize("end", [10, 9])
def test_a_lock_that_ends_before_it_begins_is_refused(series: Series, end: int) -> None:
    with pytest.raises(Refused):
        make_lock(make_part(series), "Y", from_position=10, to_position=end)
    assert Lock.objects.count() == 0


def test_issues_go_to_the_end_or_between(series: Series) -> None:
    first, second = make_issues(series, 2)
    middle = add_issue(series=series, number="1a", after=first)
    last = add_issue(series=series, number="3", after=second)
    assert [issue.number for issue in series.issues.in_order()] == ["1", "1a", "2", "3"]
    assert first.position < middle.position < second.position < last.position


def test_sixteen_issues_fit_behind_one_another_into_one_gap(series: Series) -> None:
    first, _ = make_issues(series, 2)
    after = first
    for n in range(16):
        after = add_issue(series=series, number=f"1.{n}", after=after)
    with pytest.raises(Refused, match="no room left between"):
        add_issue(series=series, number="one more", after=after)
    assert series.issues.count() == 18


def test_moving_an_issue_first_last_and_alone(series: Series) -> None:
    only = make_issue(series)
    with pytest.raises(Refused, match="Issue 1 is the only one"):
        move_issue(issue=only, after=None)
    second, third = make_issue(series), make_issue(series)
    move_issue(issue=third, after=None)
    move_issue(issue=only, after=second)
    assert list(series.issues.in_order()) == [third, second, only]


def test_a_new_series_has_its_lead(db: None) -> None:
    person = make_user()
    series = start_series(series=Series(title="The Long Quay", slug="long-quay"), lead=person)
    assert Membership.objects.get(series=series, user=person).may(Permission.LOCK)


@pytest.mark.parametrize("stands_from", ["before", "first"])
@pytest.mark.parametrize("decided_from", ["before", "first"])
def test_at_the_first_issue_and_before_it_is_one_thing(series: Series, stands_from: str, decided_from: str) -> None:
    """What a decision for the first issue replaces is not left standing where there is no issue."""
    first, second = make_issues(series, 2)
    begins = {"before": 0, "first": first.position}
    part = make_part(series)
    make_lock(part, "Y", from_position=begins[stands_from])
    make_lock(part, "R", from_position=begins[decided_from])
    standing = Lock.objects.filter(part=part).standing()
    assert [lock.written for lock in standing] == ["R"]
    make_lock(part, "B", from_position=second.position)
    end_lock(lock=standing.get(written="R"), at_position=first.position, by=make_user(), reason="never worn")
    assert [lock.written for lock in standing.all()] == ["B"]


@pytest.mark.parametrize(("start", "end"), [(3, 10), (20, 25)])
def test_a_lock_that_no_issue_falls_into_is_refused(series: Series, start: int, end: int) -> None:
    part = make_part(series)
    for position in (10, 30):
        make_issue(series, number=str(position), position=position)
    make_lock(part, "Y", from_position=10)
    with pytest.raises(Refused, match="in force in no issue"):
        make_lock(part, "B", from_position=start, to_position=end)
    assert standing(part) == [("Y", 10, None)]
