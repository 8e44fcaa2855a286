"""Decisions about locks taken back, and what is shown of them to whoever decides next."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from bible.colour.notation import LETTERS_125_75
from bible.colour.shifts import Op, Shift, Step
from bible.colour.tints import Tint
from bible.locks import services as deeds
from bible.locks.afresh import lock_afresh
from bible.locks.services import (
    LockToBe,
    StaleDecision,
    end_lock,
    follow_chart,
    last_decision,
    last_decisions,
    lock_rule,
)
from bible.locks.undoing import decision_at, decision_of, undo_decision, undo_moments, why_not_undone
from bible.models import BASE_CHANGED, ActivityKind, Lock, LockNote, Series
from bible.series.refusals import Refused
from tests.bible.locks.decided import B, Bench, Y
from tests.factories import make_edition, make_lock, make_member, make_part

pytestmark = pytest.mark.django_db


SEEN: dict[str, Callable[[Bench, Lock, int], Any]] = {
    "locked": lambda bench, lock, seen: bench.lock("B", seen=seen),
    "by rule": lambda bench, lock, seen: bench.by_rule(seen=seen),
    "ended": lambda bench, lock, seen: end_lock(lock=lock, at_position=30, by=bench.lead, reason="x", seen=seen),
    "corrected": lambda bench, lock, seen: deeds.correct_lock(
        lock=lock, tint=B, written="B", by=bench.lead, reason="x", seen=seen
    ),
}


@pytest.mark.parametrize("name", SEEN)
def test_whoever_saw_something_older_is_shown_the_newest_with_its_reason(bench: Bench, name: str) -> None:
    role = "shade" if name == "by rule" else "base"
    lock = bench.lock("Y")
    if role == "shade":
        bench.by_rule()
    seen = last_decision(bench.part, role)
    newest = bench.lock("R", 20, role=role, reason="")
    before = list(Lock.objects.order_by("pk").values())
    with pytest.raises(StaleDecision, match=r"lead locked R here meanwhile \(no reason given\)") as stale:
        SEEN[name](bench, lock, seen)
    assert stale.value.newest.pk == Lock.objects.of(bench.part.pk, role).order_by("-pk")[0].pk >= newest.pk
    assert list(Lock.objects.order_by("pk").values()) == before
    with pytest.raises(Refused, match="not there any more"):
        make_lock(make_part(bench.series), "Y", by=bench.lead, seen=10**6)


def test_the_newest_decision_of_each_role_and_printing(bench: Bench) -> None:
    album = make_edition(bench.series, name="Album")
    assert (last_decision(bench.part, "base"), last_decisions(bench.part)) == (0, {})
    bench.lock("Y")
    shade, base = bench.lock("R", role="shade"), bench.lock("B", 20)
    bench.lock("Y", role="shade", edition=album)
    own = bench.newest()
    make_lock(make_part(bench.series), "Y")
    newest = Lock.objects.of(bench.part.pk, "base").order_by("-pk")[0].pk
    assert newest >= base.pk
    assert last_decisions(bench.part) == {"base": newest, "shade": shade.pk}
    assert last_decisions(bench.part, album) == {"shade": own.pk}
    assert last_decision(bench.part, "shade") == shade.pk
    assert last_decision(bench.part, "shade", album) == own.pk


def test_what_was_decided_is_named_counted_and_told_when_it_is_undone(bench: Bench) -> None:
    bench.lock("Y", reason="as ever")
    bench.by_rule()
    before = (bench.rows(), bench.rows("shade"))
    lock = bench.lock("R", 20, reason="torn")
    decided = decision_of(lock)
    assert (decided.at, decided.codes, decided.kept, decided.parts) == (lock.decided_at, 2, 0, {bench.part.pk})
    assert {row.role for row in decided.withdrawn} == {"base", "shade"}
    assert decided.named.decided_at == lock.decided_at
    assert not decided.followed
    bench.told.clear()
    undone = undo_decision(lock=lock, by=bench.lead, reason=" wrong coat ", seen=lock.decided_at)
    assert undone.at == lock.decided_at
    assert (bench.rows(), bench.rows("shade")) == before
    lock.refresh_from_db()
    assert lock.withdrawn_reason == "wrong coat"
    (told,) = bench.told
    assert (told["part_ids"], told["by"], told["undone"]) == ([bench.part.pk], bench.lead, undone.at)
    assert told["at"] == lock.withdrawn_at
    assert told["why"].startswith("decision of ")
    kind, by, subject, count, words = bench.deed()
    assert (kind, by, subject, count) == (ActivityKind.UNDONE, bench.lead, bench.part.costume.subject_id, 2)
    assert (words["reason"], words["name"]) == ("wrong coat", "R")
    with pytest.raises(Refused, match="decided here meanwhile"):
        undo_decision(lock=lock, by=bench.lead, seen=undone.at)


def test_what_followed_by_rule_is_undone_where_it_came_from(bench: Bench) -> None:
    bench.lock("Y")
    (shade,) = bench.by_rule()
    follow_chart(series=bench.series, by=bench.lead)
    assert not Lock.objects.exclude(withdrawn_at=None).exists(), "a chart that moves nothing makes no decision"
    other = make_part(bench.series)
    make_lock(other, "R", by=bench.lead)
    lock_rule(part=other, role="shade", rule=Shift((Step(Op.DOWN, "m", 1),)), from_position=0, by=bench.lead)
    Series.objects.filter(pk=bench.series.pk).update(chart_kind="125-75", notation_data=LETTERS_125_75.to_dict())
    bench.told.clear()
    follow_chart(series=Series.objects.get(pk=bench.series.pk), by=bench.lead)
    stands = Lock.objects.of(other.pk, "shade").standing().get()
    assert (stands.tint, stands.follows.withdrawn_reason) == (Tint(m=75), BASE_CHANGED)
    shade.refresh_from_db()
    assert shade.withdrawn_at is None
    (told,) = bench.told
    assert (sorted(told["part_ids"]), told["by"]) == (sorted([bench.part.pk, other.pk]), bench.lead)
    assert told["why"] == "locks by rule followed a change of the chart"
    decided = decision_of(stands)
    assert decided.followed
    assert why_not_undone(decided).startswith("This followed by rule from what it is derived from")


def test_notes_are_about_a_decision_whichever_of_its_rows_they_stand_on(bench: Bench) -> None:
    first = bench.lock("Y")

    def note(lock: Lock, text: str = "why") -> LockNote:
        return LockNote.objects.create(series=lock.series, lock=lock, text=text, written_by=bench.lead)

    ours = note(first, "x" * 70)
    bench.lock("R", 20, 30)
    rest = Lock.objects.standing().get(from_position=30)
    later = note(rest)
    strangers = [bench.lock("Y", role="shade"), bench.lock("B", 20, 30), make_lock(make_part(bench.series), "Y")]
    for lock in strangers:
        note(lock)
    Lock.objects.filter(pk=strangers[2].pk).update(decided_at=first.decided_at, decided_by=bench.lead)
    Lock.objects.filter(pk=strangers[0].pk).update(decided_at=first.decided_at)
    assert list(LockNote.objects.of_decision(rest).with_writers()) == [ours, later]
    assert str(ours) == "x" * 60
    Lock.objects.filter(pk=rest.pk).update(decided_by=make_member(bench.series))
    assert list(LockNote.objects.of_decision(first)) == [ours]


def test_of_codes_decided_together_one_is_undone_or_all_but_what_moved_since(bench: Bench) -> None:
    parts = [bench.part, make_part(bench.series), make_part(bench.series)]
    to_be = [LockToBe(part.pk, "base", Y, "Y", 0, None, "so") for part in parts]
    lock_afresh(series=bench.series, decisions=to_be, by=bench.lead)
    first, second, third = (Lock.objects.get(part=part) for part in parts)
    assert (decision_of(first).codes, decision_of(first, together=True).codes) == (1, 3)
    make_lock(parts[1], "R", by=bench.lead, from_position=20)
    all_but = decision_of(first, together=True)
    assert (all_but.codes, all_but.kept, all_but.parts) == (2, 1, {parts[0].pk, parts[2].pk})
    whole = decision_at(bench.series.pk, first.decided_at)
    assert (whole.codes, [row.part_id for row in whole.later]) == (3, [parts[1].pk])
    with pytest.raises(Refused, match="Undo the later decision first"):
        undo_moments(series=bench.series, moments=[first.decided_at], by=bench.lead)
    undo_decision(lock=third, by=bench.lead)
    stands = Lock.objects.standing().order_by("part", "from_position").values_list("part", "written")
    assert list(stands) == [(parts[0].pk, "Y"), (parts[1].pk, "Y"), (parts[1].pk, "R")]
    undo_decision(lock=first, by=bench.lead, together=True)
    assert set(Lock.objects.standing().values_list("part", flat=True)) == {parts[1].pk}
    assert second.part_id == parts[1].pk


def test_somebody_elses_lock_in_these_issues_bars_the_way_back(bench: Bench) -> None:
    lock = bench.lock("Y", reason="as ever")
    end_lock(lock=lock, at_position=30, by=bench.lead, reason="over")
    other = make_member(bench.series, "lead", username="second")
    make_lock(bench.part, "R", by=other, from_position=40, reason="anew")
    lock.refresh_from_db()
    refusal = why_not_undone(decision_of(lock))
    assert refusal.startswith("second has locked R for")
    assert "(anew)" in refusal
    assert refusal.endswith("so Y cannot stand there again.")
    with pytest.raises(Refused, match="cannot stand there again"):
        undo_decision(lock=lock, by=bench.lead)
