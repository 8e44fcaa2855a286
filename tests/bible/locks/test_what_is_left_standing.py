"""Every decision about locks, and what it leaves: rows in their order, what follows what, what is told, what is refused."""

from __future__ import annotations

from typing import Any

import pytest

from bible.colour.charts import CHART_125_75
from bible.colour.gradients import Direction, Gradient
from bible.colour.shifts import Shift
from bible.colour.tints import Tint
from bible.locks.afresh import lock_afresh, lock_histories
from bible.locks.services import (
    LockToBe,
    end_lock,
    lock_tint,
)
from bible.locks.stretches import left_open, pieces_of, span, until
from bible.models import BASE_CHANGED, Activity, ActivityKind, Lock, Part, Series, columns_of
from bible.models.stretches import Stretch
from bible.series.refusals import Refused
from tests.bible.locks.decided import SHADE, B, Bench, R, Row, Y
from tests.factories import make_edition, make_lock, make_part, make_series

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    ("held", "asked", "found"),
    [
        ([], (0, None), (0, None)),
        ([], (30, 31), (30, 31)),
        ([], (25, 30), "in no issue"),
        ([], (51, 60), "in no issue"),
        ([], (30, 30), "must end after"),
        ([], (31, 30), "must end after"),
        ([(0, None)], (20, None), (20, None)),
        ([(0, None)], (10, None), (0, None)),
        ([(0, None)], (7, None), (0, None)),
        ([(5, None)], (7, None), (5, None)),
        ([(0, None)], (11, None), (11, None)),
        ([(0, 5)], (7, None), (7, None)),
        ([(0, 7)], (7, None), (7, None)),
        ([(0, 8)], (7, None), (0, None)),
        ([(0, 30), (30, None)], (20, None), (20, 30)),
        ([(0, 30), (30, None)], (30, None), (30, None)),
        ([(0, 30), (30, None)], (20, 40), (20, 40)),
        ([(10, None)], (0, None), (0, None)),
        ([(5, 30), (30, None)], (0, None), (0, 30)),
    ],
)
def test_where_a_decision_begins_and_ends(bench: Bench, held: Any, asked: Any, found: Any) -> None:
    for start, end in held:
        Lock.objects.create(
            series=bench.series, part=bench.part, tint=Y, written="Y", from_position=start, to_position=end,
            decided_by=bench.lead, decided_at=bench.series.created_at,
        )  # fmt: skip
    if isinstance(found, str):
        with pytest.raises(Refused, match=found):
            span(bench.part, "base", *asked)
        return
    assert span(bench.part, "base", *asked) == found
    assert until(bench.part, "base", *asked) == found[1]
    assert span(bench.part, "shade", *asked) == asked, "another role's locks say nothing of it"
    assert span(make_part(bench.series), "base", *asked) == asked
    assert span(bench.part, "base", asked[0], asked[1], make_edition(bench.series)) == asked


def test_without_issues_anything_may_be_locked(series: Series) -> None:
    assert span(make_part(series), "base", 3, 4) == (3, 4)


@pytest.mark.parametrize(
    ("whole", "taken", "free"),
    [
        ((0, None), [], [(0, None)]),
        ((0, 10), [], [(0, 10)]),
        ((0, 10), [(0, 10)], []),
        ((0, 10), [(0, None)], []),
        ((5, 10), [(0, 5)], [(5, 10)]),
        ((5, 10), [(0, 6)], [(6, 10)]),
        ((5, 10), [(10, 12)], [(5, 10)]),
        ((5, 10), [(9, 12)], [(5, 9)]),
        ((0, None), [(20, 30), (5, 10)], [(0, 5), (10, 20), (30, None)]),
        ((0, None), [(5, 10), (20, None)], [(0, 5), (10, 20)]),
        ((0, 30), [(5, 10), (10, 20)], [(0, 5), (20, 30)]),
        ((0, 30), [(5, 20), (6, 10)], [(0, 5), (20, 30)]),
        ((0, 30), [(25, 40), (50, 60)], [(0, 25)]),
    ],
)
def test_what_of_a_stretch_is_left_open(whole: Any, taken: Any, free: Any) -> None:
    assert left_open(Stretch(*whole), taken) == [Stretch(*one) for one in free]


@pytest.mark.parametrize(
    ("bases", "start", "end", "found"),
    [
        ([], 0, None, []),
        ([(0, None, Y)], 0, None, [(0, None, "C25 Y100")]),
        ([(0, None, Y)], 5, 10, [(5, 10, "C25 Y100")]),
        ([(0, 8, Y)], 5, 10, [(5, 8, "C25 Y100")]),
        ([(7, 20, Y)], 5, 10, [(7, 10, "C25 Y100")]),
        ([(0, 8, Y), (8, None, R)], 5, None, [(5, 8, "C25 Y100"), (8, None, "C25 M100")]),
        ([(0, 8, Y), (8, None, Y)], 5, None, [(5, None, "C25 Y100")]),
        ([(0, 8, Y), (9, 12, Y)], 5, None, [(5, 8, "C25 Y100"), (9, 12, "C25 Y100")]),
    ],
)
def test_a_rule_over_stretches_of_base(bases: Any, start: int, end: int | None, found: Any) -> None:
    pieces = pieces_of(bases, SHADE, CHART_125_75, start, end)
    assert [(begins, ends, str(tint)) for begins, ends, tint in pieces] == found


@pytest.mark.parametrize(
    ("start", "end", "base", "shade"),
    [
        (0, None, [("R", 0, None)], [("RB2", 0, None)]),
        (20, None, [("Y", 0, 20), ("R", 20, None)], [("YB2", 0, 20), ("RB2", 20, None)]),
        (
            20,
            40,
            [("Y", 0, 20), ("R", 20, 40), ("Y", 40, None)],
            [("YB2", 0, 20), ("RB2", 20, 40), ("YB2", 40, None)],
        ),
        (0, 20, [("R", 0, 20), ("Y", 20, None)], [("RB2", 0, 20), ("YB2", 20, None)]),
        (10, 20, [("R", 0, 20), ("Y", 20, None)], [("RB2", 0, 20), ("YB2", 20, None)]),
    ],
)
def test_a_decision_cuts_its_stretch_out_of_what_stood_and_the_rule_goes_along(
    bench: Bench, start: int, end: int | None, base: list[Row], shade: list[Row]
) -> None:
    first = bench.lock("Y", reason="as ever")
    bench.by_rule(reason="in the dark")
    bench.told.clear()
    newest = bench.lock("R", start, end, reason="torn")
    assert (bench.rows(), bench.rows("shade")) == (base, shade)
    first.refresh_from_db()
    assert (first.withdrawn_by, first.withdrawn_reason, first.withdrawn_at) == (bench.lead, "torn", newest.decided_at)
    assert newest.follows == first
    for row in Lock.objects.filter(tint=Y, follows=first):
        assert (row.decided_at, row.reason, row.restored) == (first.decided_at, "as ever", False)
    for row in Lock.objects.of(bench.part.pk, "shade").standing():
        assert (row.rule, row.reason, row.written) == (SHADE, "in the dark", str(SHADE))
    gone = Lock.objects.of(bench.part.pk, "shade").exclude(withdrawn_at=None)
    assert {(one.withdrawn_reason, one.withdrawn_at) for one in gone} == {(BASE_CHANGED, newest.decided_at)}
    why = f"R locked for {bench.part.full_name}"
    assert bench.told == [
        {"part_ids": [bench.part.pk], "by": bench.lead, "why": why, "at": newest.decided_at, "undone": None}
    ]
    subject = bench.part.costume.subject_id
    assert bench.deed() == (ActivityKind.SUPERSEDED, bench.lead, subject, 1, {"reason": "torn"})


@pytest.mark.parametrize(
    ("at", "base"), [(0, []), (10, [("Y", 0, 10)]), (30, [("Y", 0, 30)]), (39, [("Y", 0, 39)]), (40, "ends before")]
)
def test_an_end_leaves_what_was_before(bench: Bench, at: int, base: Any) -> None:
    lock = bench.lock("Y", end=40)
    bench.by_rule()
    bench.told.clear()
    if isinstance(base, str):
        with pytest.raises(Refused, match=base):
            end_lock(lock=lock, at_position=at, by=bench.lead, reason="over")
        return
    end_lock(lock=lock, at_position=at, by=bench.lead, reason="over")
    # Before the first issue nothing is left standing that would be in force in no issue.
    assert bench.rows() == (base if at > 10 else [])
    assert bench.rows("shade") == [("YB2", start, end) for _, start, end in bench.rows()]
    assert [one["why"] for one in bench.told] == [f"Y ended for {bench.part.full_name}"]
    kind, by, _, _, words = bench.deed()
    assert (kind, by, words) == (ActivityKind.ENDED, bench.lead, {"reason": "over"})
    issue = Activity.objects.order_by("-pk")[0].issue
    assert (issue.position if issue else None) == (at if at in (10, 30) else None)


def test_without_a_reason_what_took_its_place_is_the_reason(bench: Bench) -> None:
    old = bench.lock("Y")
    bench.lock("R", reason="")
    old.refresh_from_db()
    assert old.withdrawn_reason == "superseded by R"
    bench.by_rule()
    shade = Lock.objects.of(bench.part.pk, "shade").standing().get()
    bench.lock("B", role="shade", reason="")
    shade.refresh_from_db()
    assert shade.withdrawn_reason == "superseded by B"
    assert bench.rows("shade") == [("B", 0, None)]
    bench.lock("Y")
    assert bench.rows("shade") == [("B", 0, None)], "a code of its own follows nothing"


def test_a_rule_needs_a_base_another_role_and_something_to_do(bench: Bench) -> None:
    for more, why in (
        ({}, "lock the base first"),
        ({"role": "base"}, "a code of its own"),
        ({"rule": Shift(())}, "no rule"),
    ):
        with pytest.raises(Refused, match=why):
            bench.by_rule(**more)
    bench.lock("Y", 20, 40)
    rows = bench.by_rule(0)
    assert [(one.tint, one.from_position, one.to_position) for one in rows] == [(Tint(25, 0, 100), 20, 40)]
    with pytest.raises(Refused, match="lock the base first"):
        bench.by_rule(40)
    assert bench.told[-1]["why"] == f"{SHADE} locked for {bench.part.full_name}"


def test_whole_histories_are_locked_as_one_decision_each_subject_told_of(bench: Bench) -> None:
    hat = make_part(bench.series, name="hat")
    bench.told.clear()
    histories: dict[tuple[int, str], Any] = {
        (bench.part.pk, "base"): [(0, 20, Y), (20, None, R)],
        (hat.pk, "shade"): [(0, None, B)],
    }
    assert lock_histories(series=bench.series, histories=histories, by=bench.lead, reason="settled") == 3
    assert bench.rows() == [("Y", 0, 20), ("R", 20, None)]
    locks = Lock.objects.all()
    assert {(one.decided_by, one.reason, one.series) for one in locks} == {(bench.lead, "settled", bench.series)}
    moment = locks[0].decided_at
    assert {one.decided_at for one in locks} == {moment}
    (told,) = bench.told
    assert (sorted(told["part_ids"]), told["by"], told["at"]) == (sorted([bench.part.pk, hat.pk]), bench.lead, moment)
    assert told["why"] == "3 codes of coat, hat locked"
    rows = Activity.objects.filter(kind=ActivityKind.SETTLED).order_by("subject")
    assert [(row.subject_id, row.count, row.words) for row in rows] == [
        (bench.part.costume.subject_id, 2, {"reason": "settled"}), (hat.costume.subject_id, 1, {"reason": "settled"}),
    ]  # fmt: skip
    assert {row.lock.part.costume.subject_id == row.subject_id for row in rows if row.lock} == {True}
    with pytest.raises(Refused, match=r"lead locked Y for .*coat.* meanwhile"):
        lock_histories(series=bench.series, histories=histories, by=bench.lead, reason="again")
    assert Lock.objects.count() == 3
    other: dict[tuple[int, str], Any] = {(bench.part.pk, "highlight"): [(0, None, R)]}
    assert lock_histories(series=bench.series, histories=other, by=bench.lead, reason="so") == 1


def test_nothing_to_lock_is_no_decision_and_another_series_part_is_none(bench: Bench) -> None:
    bench.told.clear()
    assert lock_afresh(series=bench.series, decisions=[], by=bench.lead) == 0
    assert bench.told == []
    assert not Activity.objects.filter(kind=ActivityKind.SETTLED).exists()
    stranger = make_part(make_series())
    to_be = LockToBe(stranger.pk, "base", Y, "Y", 0, None, "so")
    with pytest.raises(KeyError):
        lock_afresh(series=bench.series, decisions=[to_be], by=bench.lead)


def test_a_tint_and_a_gradient_in_columns(bench: Bench) -> None:
    grad = Gradient(Y, R, Direction.DOWN)
    assert columns_of(Y) == {"tint": Y, "to_tint": None, "direction": ""}
    assert columns_of(grad) == {"tint": Y, "to_tint": R, "direction": "down"}
    assert columns_of(Gradient(Y, R)) == {"tint": Y, "to_tint": R, "direction": ""}
    said: dict[str, Any] = {"part": bench.part, "written": "x", "by": bench.lead}
    for role, value in (("base", Y), ("shade", grad), ("highlight", Gradient(R, Y))):
        assert lock_tint(role=role, tint=value, from_position=0, **said).locked == value
    carrying = {tint: set(Lock.objects.carrying(tint).values_list("role", flat=True)) for tint in (Y, R, B)}
    assert carrying == {Y: {"base", "shade", "highlight"}, R: {"shade", "highlight"}, B: set()}


@pytest.mark.parametrize(("at", "holds"), [(19, False), (20, True), (39, True), (40, False)])
def test_a_lock_holds_from_its_first_position_up_to_its_last(bench: Bench, at: int, holds: bool) -> None:
    lock = bench.lock("Y", 20, 40)
    assert lock.holds_at(at) is holds
    assert Lock.objects.in_force(at).exists() is holds
    forever = make_lock(make_part(bench.series), "Y", from_position=20)
    assert forever.holds_at(at) is (at >= 20)
    assert forever.rule == Shift(())
    assert str(lock) == "Y (base)"
    assert lock.get_absolute_url().endswith(f"#lock-{lock.pk}")


def test_locks_in_the_order_of_the_roles_and_by_part(bench: Bench) -> None:
    roles, empty = bench.series.roles, make_part(bench.series)
    bench.lock("Y", 20), bench.lock("B"), bench.lock("R", role="shade"), bench.lock("R", role="highlight")
    other = make_lock(make_part(bench.series), "B", by=bench.lead)
    expected = [("base", 0), ("base", 20), ("shade", 0), ("highlight", 0)]
    ordered = Lock.objects.standing().filter(part=bench.part).by_role(roles)
    assert [(one.role, one.from_position) for one in ordered] == expected
    found = Lock.objects.standing().by_part([bench.part.pk, empty.pk], roles)
    assert {part: [(one.role, one.from_position) for one in locks] for part, locks in found.items()} == {
        bench.part.pk: expected, empty.pk: [],
    }  # fmt: skip
    assert other.part_id not in found


def test_each_printing_has_its_own(bench: Bench) -> None:
    album, reprint = (make_edition(bench.series, name=name) for name in ("Album", "Reprint"))
    first, own = bench.lock("Y"), bench.lock("R", 20, 40, edition=album)
    every = Lock.every_printing
    assert set(Lock.objects.all()) == set(every.of_printing(None)) == {first}
    assert set(every.of_edition(album)) == {own}
    assert set(every.of_printing(album)) == {first, own}
    assert set(every.of_printing(reprint)) == {first}
    needed = {at: set(every.needed_in(album, at)) for at in (10, 20, 39, 40)}
    assert needed == {10: {first}, 20: {own}, 39: {own}, 40: {first}}
    assert set(every.needed_in(None, 20)) == set(every.needed_in(reprint, 20)) == {first}
    assert Part.objects.get(pk=bench.part.pk).locks.count() == 1
