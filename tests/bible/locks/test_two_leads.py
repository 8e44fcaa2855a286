"""Two leads at the same moment, on connections of their own: one decides, the other is shown that decision."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from threading import Barrier
from typing import Any

import pytest
from django.db import connection

from bible.locks.services import StaleDecision, last_decision, lock_tint
from bible.models import Lock, Series
from bible.series.refusals import Refused
from bible.series.services import add_issue, move_issue, place_in_order
from bible.subjects.services import archive
from guides.core.continuity import discrepancies
from tests.factories import make_guide, make_issues, make_lock, make_mark, make_member, make_part

pytestmark = [pytest.mark.backend("postgresql"), pytest.mark.django_db(transaction=True)]

ROUNDS = 12


def at_once(*deeds: Any) -> list[Any]:
    """What each deed returned or raised, all begun at the same moment."""
    barrier = Barrier(len(deeds))

    def run(deed: Any) -> Any:
        try:
            barrier.wait(timeout=10)
            return deed()
        except Refused as refusal:
            return refusal
        finally:
            connection.close()

    with ThreadPoolExecutor(len(deeds)) as pool:
        return list(pool.map(run, deeds, timeout=60))


def test_of_two_locks_at_once_one_stands_and_the_other_is_told(series: Series, lead: Any) -> None:
    other = make_member(series, "lead", username="other-lead")
    issue = make_issues(series, 1)[0]
    part = make_part(series)
    make_lock(part, "YR", by=lead)
    make_mark(make_guide(issue, by=lead), "YR", part=part)
    codes = ["Y", "B"]
    for n in range(ROUNDS):
        seen = last_decision(part, "base")

        def locking(code: str, by: Any, seen: int | None = seen) -> Any:
            tint = series.read(code)
            return lambda: lock_tint(
                part=part, role="base", tint=tint, written=code, from_position=0, by=by, seen=seen
            )

        answers = at_once(locking(codes[n % 2], lead), locking("R", other))
        refused = [answer for answer in answers if isinstance(answer, StaleDecision)]
        (stands,) = [answer for answer in answers if isinstance(answer, Lock)]
        assert len(refused) == 1
        assert refused[0].newest.pk == stands.pk
        assert Lock.objects.of(part.pk, "base").standing().get().pk == stands.pk
    assert not discrepancies(series)


def test_of_two_moves_at_once_the_later_is_told(series: Series, lead: Any) -> None:
    first, second, third, fourth = make_issues(series, 4)
    seen = place_in_order(first)
    answers = at_once(
        lambda: move_issue(issue=first, after=third, seen=seen, by=lead),
        lambda: move_issue(issue=first, after=fourth, seen=seen, by=lead),
    )
    assert sum(isinstance(answer, Refused) for answer in answers) == 1
    assert [one.number for one in series.issues.in_order()] in (["2", "3", "1", "4"], ["2", "3", "4", "1"])
    assert second.series_id == series.pk


def test_one_number_is_given_once(series: Series, lead: Any) -> None:
    answers = at_once(*[lambda: add_issue(series=series, number="7", by=lead)] * 2)
    assert sum(isinstance(answer, Refused) for answer in answers) == 1
    assert series.issues.count() == 1


def test_a_lock_and_its_costumes_archiving_at_once(series: Series, lead: Any) -> None:
    """Whichever comes first, nothing is locked after it was archived."""
    part = make_part(series)
    for _ in range(ROUNDS):
        held = Lock.objects.filter(part=part).count()
        costume = part.costume
        said: dict[str, Any] = {"tint": series.read("Y"), "written": "Y", "from_position": 0, "by": lead}
        answer, _ = at_once(
            lambda said=said: lock_tint(part=part, role="base", **said),
            lambda costume=costume: archive(row=costume, by=lead),
        )
        newest = Lock.objects.filter(part=part).order_by("-pk").first()
        costume.refresh_from_db()
        if isinstance(answer, Refused):
            assert Lock.objects.filter(part=part).count() == held
        else:
            assert newest
            assert newest.decided_at < costume.archived_at
        archive(row=costume, archived=False, by=lead)
