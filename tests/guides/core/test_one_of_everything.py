"""One mark of every kind, resolved each way there is: all ways answer alike, and as written here by hand."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from bible import signals
from bible.colour.gradients import Direction, Gradient
from bible.colour.notation import LETTERS_64, Notation
from bible.colour.shifts import Op, Shift, Step
from bible.colour.tints import Tint
from bible.locks.services import lock_rule, lock_tint
from bible.models import Issue, Lock, Part, Scene, Series, Within
from bible.models.fields import NoTint
from bible.models.stretches import Stretch
from bible.scenes.services import HeldTo, set_scene
from bible.subjects.services import archive
from bible.subjects.wearing import set_worn
from guides.core import continuity, owed_by_part, recounting
from guides.core.scene_areas import Region, apply_scene, remove_scene
from guides.core.services import NewMark, delete_mark, place_marks, rewrite_mark
from guides.core.waivers import waive
from guides.models import Guide, Mark, SceneArea, Waiver
from tests.factories import make_guide, make_issues, make_lock, make_mark, make_part, make_revision

pytestmark = pytest.mark.django_db

Y, B, R, YR, NIGHTLY = Tint(y=100), Tint(c=100), Tint(m=100), Tint(m=100, y=100), Shift((Step(Op.ADD, "c", 25),))
Owed = tuple[Any, Any, str]
"""What a mark owes, what it ought to fade to, and the code of its lock."""
NOTHING, FLAT = (NoTint.NO_LOCK, NoTint.FLAT, ""), NoTint.FLAT
DAY, NIGHT = 0.2, 0.8
"""Across the page: the right half is a night scene's."""


class Everything:
    """``rows``: for each mark its name, issue, what it says, and what it owes."""

    def __init__(self, series: Series, lead: Any) -> None:
        self.series, self.lead = series, lead
        self.issues = make_issues(series, 3)
        last = self.issues[2].position
        self.coat, self.hat, self.sky, self.wall, self.hill = (make_part(series) for _ in range(5))
        make_lock(self.coat, "YR", by=lead)
        make_lock(self.coat, "Y", by=lead, from_position=last)
        lock_rule(part=self.coat, role="shade", rule=NIGHTLY, from_position=0, by=lead)
        make_lock(self.hat, "B", by=lead)
        set_worn(costume=self.hat.costume, worn=[Stretch(0, self.issues[1].position)])
        said: dict[str, Any] = {"part": self.sky, "from_position": 0, "by": lead}
        lock_tint(role="base", tint=Gradient(Y, R, Direction.DOWN), written="Y to R downwards", **said)
        lock_tint(role="shade", tint=Gradient(Y, R, Direction.RIGHT), written="Y to R rightwards", **said)
        Part.objects.filter(pk=self.wall.pk).update(held_within=Within.ISSUE)
        Part.objects.filter(pk=self.hill.pk).update(held_within=Within.SCENE)
        self.wall.refresh_from_db()
        self.hill.refresh_from_db()
        self.night = set_scene(scene=Scene(series=series, name="Night"), rule=NIGHTLY, by=lead)
        self.guides = [make_guide(issue, by=lead) for issue in self.issues]
        for guide in self.guides:
            apply_scene(guide=guide, scene=self.night, region=Region(0.5, 0, 1, 1), by=lead)

    @property
    def rows(self) -> list[tuple[int, NewMark, Owed]]:
        coat, hat, sky, wall, hill = self.coat, self.hat, self.sky, self.wall, self.hill
        dark, grad = Tint(c=25), "Y to R downwards"
        down: dict[str, Any] = {"to": (DAY, 0.9)}
        up: dict[str, Any] = {"to": (DAY, 0.1)}
        left: dict[str, Any] = {"to": (0.1, 0.5)}
        fades: dict[str, Any] = {"written": "Y", "to_written": "R"}

        def new(x: float, part: Part | None, role: str = "base", written: str = "YR", **more: Any) -> NewMark:
            return NewMark(x, 0.5, written, part, role, **more)

        return [
            (0, new(DAY, None), NOTHING),
            (0, new(DAY, coat), (YR, FLAT, "YR")),
            (0, new(DAY, coat, written="scrawl"), (YR, FLAT, "YR")),
            (0, new(NIGHT, coat), (Tint(25, 100, 100), FLAT, "YR")),
            (0, new(DAY, coat, "shade"), (Tint(25, 100, 100), FLAT, str(NIGHTLY))),
            (0, new(DAY, coat, "highlight"), NOTHING),
            (2, new(DAY, coat), (Y, FLAT, "Y")),
            (2, new(NIGHT, coat, "shade"), (Tint(50, 0, 100), FLAT, str(NIGHTLY))),
            (0, new(DAY, hat), (B, FLAT, "B")),
            (1, new(DAY, hat), (NoTint.OUT_OF_USE, FLAT, "")),
            (1, new(NIGHT, hat, "shade"), (NoTint.OUT_OF_USE, FLAT, "")),
            (0, new(DAY, sky, written="Y"), (Y, R, grad)),
            (0, new(DAY, sky, **fades, **down), (Y, R, grad)),
            (0, new(DAY, sky, **fades, **up), (R, Y, grad)),
            (0, new(DAY, sky, **fades, **left), (Y, R, grad)),
            (0, new(DAY, sky, "shade", **fades, **left), (R, Y, "Y to R rightwards")),
            (0, new(DAY, sky, "shade", **fades, **up), (Y, R, "Y to R rightwards")),
            (0, new(NIGHT, sky, **fades), (Tint(25, 0, 100), Tint(25, 100), grad)),
            (1, new(DAY, wall), (YR, FLAT, "")),
            (1, new(DAY, wall), (YR, FLAT, "")),
            (1, new(DAY, wall, written="B"), (NoTint.NOT_THE_SAME, FLAT, "")),
            (1, new(NIGHT, wall, written="B"), (B, FLAT, "")),
            (1, new(DAY, wall, written="scrawl"), NOTHING),
            (1, new(DAY, hill, written="B"), (B, FLAT, "")),
            (1, new(DAY, hill, written="B2"), (dark, FLAT, "")),
            (1, new(NIGHT, hill, written="Y", to_written="B"), (Y, B, "")),
            (1, new(NIGHT, hill, written="Y"), (NoTint.NOT_THE_SAME, FLAT, "")),
        ]  # fmt: skip

    def place(self, *, at_once: bool = False) -> None:
        for at, guide in enumerate(self.guides):
            news = [new for issue, new, _ in self.rows if issue == at]
            for some in [news] if at_once else [[new] for new in news]:
                place_marks(guide=guide, by=self.lead, rows=some)

    def marks(self) -> list[Mark]:
        """In the order of the rows."""
        left = {
            at: list(guide.marks.order_by("number").select_related("lock")) for at, guide in enumerate(self.guides)
        }
        return [left[at].pop(0) for at, _, _ in self.rows]

    def owed(self) -> list[Owed]:
        return [(one.expected, one.expected_to, one.lock.written if one.lock else "") for one in self.marks()]

    def holds(self) -> None:
        for said, (_, new, owed) in zip(self.owed(), self.rows, strict=True):
            assert said == owed, new
        assert continuity.discrepancies(self.series) == []
        assert recounting.discrepancies(self.series) == []

    def forget(self) -> None:
        """As though nothing had ever been resolved."""
        Mark.objects.update(lock=None, expected=NoTint.NO_LOCK, expected_to=NoTint.FLAT)


@pytest.fixture
def everything(series: Series, lead: Any) -> Everything:
    return Everything(series, lead)


def tell(world: Everything, monkeypatch: Any, module: Any = continuity, **limits: int) -> None:
    for name, limit in limits.items():
        monkeypatch.setattr(module, name, limit)
    parts = [part.pk for part in (world.coat, world.hat, world.sky, world.wall, world.hill)]
    signals.expectation_changed.send(sender=Lock, series=world.series, part_ids=parts)


WAYS: dict[str, Callable[[Everything, Any], Any]] = {
    "whole": lambda world, patch: continuity.resolve(Mark.objects.all()),
    "with scenes": lambda world, patch: continuity.place(Mark.objects.all()),
    "part by part": tell,
    "part by part, each at length": lambda world, patch: tell(world, patch, owed_by_part, CASES_AT_MOST=0),
    "for many parts": lambda world, patch: tell(world, patch, PARTS_ONE_BY_ONE=0),
}


@pytest.mark.parametrize("at_once", [False, True])
def test_placed_alone_or_together(everything: Everything, at_once: bool) -> None:
    everything.place(at_once=at_once)
    everything.holds()


@pytest.mark.parametrize("way", WAYS)
def test_resolved_anew(everything: Everything, monkeypatch: Any, way: str) -> None:
    everything.place(at_once=True)
    everything.forget()
    assert continuity.discrepancies(everything.series)
    WAYS[way](everything, monkeypatch)
    everything.holds()


def test_whoever_places_one_is_answered_with_what_is_stored(everything: Everything) -> None:
    for at, new, _ in everything.rows:
        (mark,) = place_marks(guide=everything.guides[at], by=everything.lead, rows=[new])
        stored = Mark.objects.get(pk=mark.pk)
        for name in ("lock_id", "expected", "expected_to", "scene_id", "tint", "to_tint", "position", "live"):
            assert getattr(mark, name) == getattr(stored, name), (new, name)


def test_as_many_are_written_as_are_not_right(everything: Everything) -> None:
    everything.place(at_once=True)
    total = len(everything.rows)
    assert continuity.resolve(Mark.objects.all()) == total, "all of them, whatever they were"
    assert continuity.resolve_parts([everything.coat.pk]) == 0
    everything.forget()
    coats = [owed for _, new, owed in everything.rows if new.part == everything.coat]
    assert continuity.resolve_parts([everything.coat.pk]) == len([owed for owed in coats if owed != NOTHING])


@pytest.mark.parametrize(
    ("column", "other"),
    [
        ("position", 7), ("live", False), ("tint", Y), ("lock", None), ("expected", Y), ("expected_to", Y),
        ("scene", None), ("waived", True),
    ],
)  # fmt: skip
def test_the_second_opinion_sees_each_column(everything: Everything, column: str, other: Any) -> None:
    everything.place(at_once=True)
    mark = everything.marks()[3]
    Mark.objects.filter(pk=mark.pk).update(**{column: other})
    ((stored, derived),) = continuity.discrepancies(everything.series)
    assert stored.mark_id == derived.mark_id == mark.pk


def test_what_does_not_stand_is_derived_as_it_is_stored(everything: Everything, lead: Any) -> None:
    """Deleted, on an older scan, in an archived issue, out of a scene; waived, and waived no more once the code is
    another."""
    everything.place(at_once=True)
    marks = everything.marks()
    delete_mark(mark=marks[1], by=lead)
    waive(marks=[Mark.objects.get(pk=marks[pk].pk) for pk in (2, 5, 13)], reason="so", by=lead)
    assert Mark.objects.filter(waived=True).count() == 3
    make_revision(everything.guides[2])
    archive(row=Issue.objects.get(pk=everything.issues[1].pk), by=lead)
    assert continuity.discrepancies(everything.series) == []
    stands = {mark.pk for mark in marks if mark.guide_id == everything.guides[0].pk} - {marks[1].pk}
    assert set(Mark.objects.live().values_list("pk", flat=True)) == stands
    archive(row=Issue.objects.get(pk=everything.issues[1].pk), archived=False, by=lead)
    assert continuity.discrepancies(everything.series) == []
    assert Mark.objects.live().count() == len(stands) + Mark.objects.filter(guide=everything.guides[1]).count()
    make_revision(everything.guides[1])
    archive(row=Issue.objects.get(pk=everything.issues[1].pk), by=lead)
    archive(row=Issue.objects.get(pk=everything.issues[1].pk), archived=False, by=lead)
    assert set(Mark.objects.live().values_list("pk", flat=True)) == stands
    remove_scene(area=SceneArea.objects.get(guide=everything.guides[0]), by=lead)
    assert continuity.discrepancies(everything.series) == []
    Waiver.objects.filter(mark=marks[2]).update(fades_to=Y)
    assert [derived.mark_id for _, derived in continuity.discrepancies(everything.series)] == [marks[2].pk]


def test_what_was_waived_of_a_background_dies_when_the_others_change(everything: Everything, lead: Any) -> None:
    """A change of one mark is felt by all that are held together with it."""
    everything.place(at_once=True)
    first, _, odd = everything.marks()[18:21]
    (waiver,) = waive(marks=[odd], reason="a poster", by=lead)
    rewrite_mark(mark=first, written="B", part=everything.wall, role="base", by=lead)
    odd.refresh_from_db()
    waiver.refresh_from_db()
    assert (odd.expected, odd.waived, bool(waiver.died_at)) == (B, False, True)
    assert continuity.discrepancies(everything.series) == []


@pytest.mark.parametrize("at_once", [1, 200])
def test_what_reads_otherwise_is_counted(series: Series, lead: Any, monkeypatch: Any, at_once: int) -> None:
    monkeypatch.setattr(continuity, "TEXTS_AT_ONCE", at_once)
    guide: Guide = make_guide(make_issues(series, 1)[0], by=lead)
    for written, to_written in (("R4", ""), ("R4", "Y4"), ("B4", "R"), ("Y", "R4"), ("Y", "")):
        make_mark(guide, written, to_written=to_written)
    notation = Notation.from_dict(LETTERS_64.to_dict() | {"aliases": {"R4": 100, "Y4": 50, "B4": 25}})
    Series.objects.filter(pk=series.pk).update(notation_data=notation.to_dict())
    series = Series.objects.get(pk=series.pk)
    assert continuity.reread(series) == 3 + 2
    said = [(mark.tint, mark.to_tint) for mark in guide.marks.order_by("number")]
    assert said == [(R, None), (R, Tint(y=50)), (Tint(c=25), R), (Y, R), (Y, None)]
    assert continuity.reread(series) == 0
    assert recounting.discrepancies(series) == []


def test_a_scene_held_to_one_part_lets_the_others_go_and_takes_them_back(everything: Everything) -> None:
    everything.place(at_once=True)
    coat = everything.coat
    dark = Mark.objects.filter(scene=everything.night).order_by("pk")
    before = list(dark)
    only = set_scene(scene=everything.night, rule=NIGHTLY, targets=[HeldTo(part=coat.pk)], by=everything.lead)
    assert {mark.part for mark in dark.all()} == {coat}
    assert continuity.discrepancies(everything.series) == []
    set_scene(scene=only, rule=NIGHTLY, targets=[], by=everything.lead)
    assert list(dark.all()) == before
    everything.holds()
