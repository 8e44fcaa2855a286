"""Does this mark agree with the bible? The one home of that question.

The answer is resolved when something is written: every mark carries the lock in force at its issue and the tint it
ought to have (``resolve``), so that a flag is ``tint <> expected`` in SQL. ``derive`` works the same out from
scratch, in another way, and ``discrepancies`` holds the two against each other.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from django.db.models import Case, Exists, F, OuterRef, Q, Subquery, Value, When
from django.db.models.functions import Coalesce
from django.utils import timezone

from bible.colour.notation import NotationError
from bible.colour.tints import Tint
from bible.fields import NoTint, TintField
from bible.models import Costume, Issue, Lock, Scene, SceneTint, Series
from guides.models import Guide, Mark, MarkQuerySet, SceneArea, Waiver


def read(series: Series, written: str) -> Tint | NoTint:
    """The tint of a code as written in a series, or ``NoTint.UNREADABLE``; the text is kept by the caller."""
    try:
        return series.read(written)
    except NotationError:
        return NoTint.UNREADABLE


def resolve(marks: MarkQuerySet) -> int:
    """Give each of these marks the lock in force at its issue and the tint expected there. Returns how many.

    What is expected is the lock's tint, taken by the mark's scene to where the scene's rule moves it. One UPDATE,
    whatever the number of marks, and a look for waivers that this has outdated. To be called in the transaction of
    the change that made it needful; ``marks`` must not be chosen by what this sets.
    """
    in_force = (
        Lock.objects.standing()
        .filter(
            Q(to_position=None) | Q(to_position__gt=OuterRef("position")),
            part=OuterRef("part"),
            role=OuterRef("role"),
            from_position__lte=OuterRef("position"),
        )
        .order_by()
    )
    costume = Costume.objects.filter(parts=OuterRef("part"))
    costume_in_use = costume.filter(
        Q(to_position=None) | Q(to_position__gt=OuterRef("position")), from_position__lte=OuterRef("position")
    )
    out_of_use = Q(part__isnull=False) & ~Exists(costume_in_use)
    moved = SceneTint.objects.filter(scene=OuterRef(OuterRef("scene")), tint=OuterRef("tint")).values("shifted")
    owed = in_force.annotate(owed=Coalesce(Subquery(moved), F("tint"))).values("owed")[:1]
    resolved = marks.order_by().update(
        lock=Case(When(out_of_use, then=Value(None)), default=Subquery(in_force.values("pk")[:1])),
        expected=Case(
            When(out_of_use, then=Value(NoTint.OUT_OF_USE.value)),
            default=Coalesce(Subquery(owed), Value(NoTint.NO_LOCK.value)),
            output_field=TintField(),
        ),
    )
    bury_waivers(marks)
    return resolved


def place(marks: MarkQuerySet) -> None:
    """Give each of these marks the scene that holds at its place, then resolve it."""
    here = SceneArea.objects.standing().filter(
        guide=OuterRef("guide"),
        left__lte=OuterRef("x"),
        right__gte=OuterRef("x"),
        top__lte=OuterRef("y"),
        bottom__gte=OuterRef("y"),
    )
    marks.order_by().update(scene=Subquery(here.innermost_first().values("scene")[:1]))
    resolve(marks)


def bury_waivers(marks: MarkQuerySet) -> None:
    """A waiver is for one disagreement: where mark or expectation have changed, it is dead for good."""
    outlived = Waiver.objects.filter(mark__in=marks.order_by().values("pk")).outlived()
    dead = dict(outlived.values_list("pk", "mark_id"))
    if dead:
        Waiver.objects.filter(pk__in=dead).update(died_at=timezone.now())
        Mark.objects.filter(pk__in=dead.values()).update(waived=False)


def reread(series: Series) -> int:
    """Read every mark's text anew after the notation or the chart changed. Returns how many now read differently."""
    marks = Mark.objects.filter(series=series)
    changed = 0
    for written, before in marks.order_by().values_list("written", "tint").distinct():
        if (now := read(series, written)) != before:
            changed += marks.filter(written=written).update(tint=now)
    fades = marks.exclude(to_written="")
    for written, before in fades.order_by().values_list("to_written", "to_tint").distinct():
        if (now := read(series, written)) != before:
            changed += fades.filter(to_written=written).update(to_tint=now)
    return changed


def on_expectation_changed(*, series: Series, part_ids: list[int], **kwargs: Any) -> None:
    resolve(Mark.objects.filter(series=series, part_id__in=part_ids))


def on_issue_moved(*, issue: Issue, **kwargs: Any) -> None:
    marks = Mark.objects.filter(guide__in=Guide.objects.filter(issue=issue))
    marks.update(position=issue.position)
    resolve(marks)


def on_reading_changed(*, series: Series, **kwargs: Any) -> None:
    reread(series)
    marks = Mark.objects.filter(series=series)
    resolve(marks.exclude(scene=None))
    bury_waivers(marks)


def on_scene_changed(*, scene: Scene, **kwargs: Any) -> None:
    resolve(Mark.objects.filter(scene=scene))


@dataclass(frozen=True, slots=True)
class Derived:
    """What one mark ought to carry, worked out from scratch."""

    mark_id: int
    position: int
    live: bool
    tint: Tint | NoTint
    lock_id: int | None
    expected: Tint | NoTint
    scene_id: int | None
    waived: bool


def derive(series: Series) -> Iterator[Derived]:
    """The plain derivation: every mark's expectation from the locks, costumes and texts alone, by loops."""
    locks: dict[tuple[int, str], list[Lock]] = defaultdict(list)
    for standing in Lock.objects.filter(series=series, withdrawn_at=None):
        locks[standing.part_id, standing.role].append(standing)
    costumes = {
        part_id: costume
        for costume in Costume.objects.filter(subject__series=series).prefetch_related("parts")
        for part_id in [part.pk for part in costume.parts.all()]
    }
    areas: dict[int, list[SceneArea]] = defaultdict(list)
    for area in SceneArea.objects.filter(series=series, removed_at=None).select_related("scene"):
        areas[area.guide_id].append(area)
    waivers = {waiver.mark_id: waiver for waiver in Waiver.objects.filter(series=series, died_at=None)}
    marks = Mark.objects.filter(series=series).order_by("id").select_related("guide__issue").iterator(2000)
    for mark in marks:
        position = mark.guide.issue.position
        scene = _scene_at(areas[mark.guide_id], mark.x, mark.y)
        lock: Lock | None = None
        expected: Tint | NoTint = NoTint.NO_LOCK
        if mark.part_id is not None:
            if not costumes[mark.part_id].in_use_at(position):
                expected = NoTint.OUT_OF_USE
            else:
                for candidate in locks[mark.part_id, mark.role]:
                    ends = candidate.to_position
                    if candidate.from_position <= position and (ends is None or position < ends):
                        lock = candidate
                        expected = scene.rule.apply(candidate.tint, series.chart) if scene else candidate.tint
        tint = read(series, mark.written)
        waiver = waivers.get(mark.pk)
        yield Derived(
            mark_id=mark.pk,
            position=position,
            live=mark.guide.is_current and mark.deleted_at is None,
            tint=tint,
            lock_id=lock.pk if lock else None,
            expected=expected,
            scene_id=scene.pk if scene else None,
            waived=waiver is not None
            and (waiver.part_id, waiver.role, waiver.tint, waiver.expected)
            == (mark.part_id, mark.role, tint, expected),
        )


def _scene_at(areas: list[SceneArea], x: float, y: float) -> Scene | None:
    """The scene of the smallest area that holds a point, the newest of equals."""
    here = [area for area in areas if area.holds(x, y)]
    if not here:
        return None
    return min(here, key=lambda area: ((area.right - area.left) * (area.bottom - area.top), -area.pk)).scene


def discrepancies(series: Series) -> list[tuple[Derived, Derived]]:
    """(stored, derived) for each mark on which what is stored and what follows from scratch are not the same."""
    stored = {
        row[0]: Derived(*row)
        for row in Mark.objects.filter(series=series).values_list(
            "id", "position", "live", "tint", "lock_id", "expected", "scene_id", "waived"
        )
    }
    return [(stored[d.mark_id], d) for d in derive(series) if stored[d.mark_id] != d]
