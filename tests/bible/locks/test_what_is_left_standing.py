"""Every decision about locks, and what it leaves: rows in their order, what follows what, what is told, what is refused."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from bible import signals
from bible.colour.charts import CHART_125_75
from bible.colour.grads import Direction, Grad
from bible.colour.notation import LETTERS_125_75
from bible.colour.shifts import Op, Shift, Step
from bible.colour.tints import Tint
from bible.locks import services as deeds
from bible.locks.services import (
    LockToBe,
    StaleDecision,
    end_lock,
    follow_chart,
    last_decision,
    last_decisions,
    lock_afresh,
    lock_histories,
    lock_rule,
    lock_tint,
)
from bible.locks.stretches import left_open, pieces_of, span, until
from bible.locks.undoing import decision_at, decision_of, undo_decision, undo_moments, why_not_undone
from bible.models import BASE_CHANGED, Activity, ActivityKind, Lock, LockNote, Part, Series, columns_of
from bible.models.stretches import Stretch
from bible.series.refusals import Refused
from tests.factories import make_edition, make_issues, make_lock, make_member, make_part, make_series

pytestmark = pytest.mark.django_db

Y, R, B, YR = Tint(y=100), Tint(m=100), Tint(c=100), Tint(m=100, y=100)
SHADE = Shift((Step(Op.ADD, "c", 25),))
Row = tuple[str, int, int | None]


class Bench:
    """Five issues at 10, 20 … 50 and a part of which nothing is locked; ``told`` is what listeners hear."""

    def __init__(self, series: Series, lead: Any) -> None:
        self.series, self.lead = series, lead
        self.issues = make_issues(series, 5)
        for n, issue in enumerate(self.issues, 1):
            type(issue).objects.filter(pk=issue.pk).update(position=n * 10)
        self.part = make_part(series, name="coat")
        self.told: list[dict[str, Any]] = []
        signals.expectation_changed.connect(self._hear)

    def _hear(self, **said: Any) -> None:
        self.told.append({name: said.get(name) for name in ("part_ids", "by", "why", "at", "undone")})

    def lock(self, code: str, start: int = 0, end: int | None = None, **more: Any) -> Lock:
        return make_lock(self.part, code, by=self.lead, from_position=start, to_position=end, **more)

    def by_rule(self, start: int = 0, end: int | None = None, **more: Any) -> list[Lock]:
        said: dict[str, Any] = {"role": "shade", "rule": SHADE, "by": self.lead} | more
        return lock_rule(part=self.part, from_position=start, to_position=end, **said)

    def rows(self, role: str = "base", edition: Any = None) -> list[Row]:
        """What stands, as the code of its tint."""
        found = Lock.every_printing.of_edition(edition).of(self.part.pk, role).standing().order_by("from_position")
        return [(self.series.write(one.locked), one.from_position, one.to_position) for one in found]

    def newest(self) -> Lock:
        return Lock.every_printing.order_by("-pk")[0]

    def deed(self) -> tuple[Any, ...]:
        row = Activity.objects.order_by("-pk")[0]
        return row.kind, row.by, row.subject_id, row.count, row.words


@pytest.fixture
def bench(series: Series, lead: Any) -> Any:
    bench = Bench(series, lead)
    yield bench
    signals.expectation_changed.disconnect(bench._hear)


# --- where a decision begins and ends -------------------------------------------------------------------------------


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


# --- what is cut out, what is left ----------------------------------------------------------------------------------


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


# --- many at once ---------------------------------------------------------------------------------------------------


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


# --- who looked when ------------------------------------------------------------------------------------------------

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


# --- undoing --------------------------------------------------------------------------------------------------------


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


# --- asking the table -----------------------------------------------------------------------------------------------


def test_a_tint_and_a_gradient_in_columns(bench: Bench) -> None:
    grad = Grad(Y, R, Direction.DOWN)
    assert columns_of(Y) == {"tint": Y, "to_tint": None, "direction": ""}
    assert columns_of(grad) == {"tint": Y, "to_tint": R, "direction": "down"}
    assert columns_of(Grad(Y, R)) == {"tint": Y, "to_tint": R, "direction": ""}
    said: dict[str, Any] = {"part": bench.part, "written": "x", "by": bench.lead}
    for role, value in (("base", Y), ("shade", grad), ("highlight", Grad(R, Y))):
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
