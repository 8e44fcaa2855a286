"""Does this mark agree with the bible? The one home of that question.

The answer is resolved when something is written: every mark carries the lock in force at its issue and the tint it
ought to have (``resolve``), so that a flag is ``tint <> expected`` in SQL. ``derive`` works the same out from
scratch, in another way, and ``discrepancies`` holds the two against each other.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.db.models import Case, Exists, F, OuterRef, Q, Subquery, Value, When
from django.db.models.functions import Coalesce

from bible.colour.notation import NotationError
from bible.colour.tints import Tint
from bible.models import (
    Costume,
    CostumeStretch,
    Issue,
    Lock,
    LockQuerySet,
    Part,
    Scene,
    SceneTarget,
    SceneTint,
    Series,
)
from bible.models.fields import NoTint, TintField
from bible.series.holding import hold_to_decide
from guides.core import counts, reopening
from guides.core.gradients import owed_by, owed_from_scratch, seen_by
from guides.core.holding import hold_marks_of_parts
from guides.core.lighting import put_in_scenes, scene_from_scratch
from guides.core.outliving import bury_waivers, revive_waivers
from guides.core.owed_by_part import OwedByPart, owed_by_parts
from guides.core.together import derived_together, hold_together
from guides.models import Guide, Mark, MarkQuerySet, SceneArea, Waiver

if TYPE_CHECKING:
    import datetime as dt

    from django.contrib.auth.models import User

PARTS_ONE_BY_ONE = 60
"""A costume or a subject has a few dozen parts; beyond that one statement for all of them is less work."""
TEXTS_AT_ONCE = 200
"""Texts read anew in one statement: SQLite takes a limited number of parameters."""


def read(series: Series, written: str) -> Tint | NoTint:
    """The tint of a code as written in a series, or ``NoTint.UNREADABLE``; the text is kept by the caller."""
    try:
        return series.read(written)
    except NotationError:
        return NoTint.UNREADABLE


def resolve(marks: MarkQuerySet, at: dt.datetime | None = None) -> int:
    """Give each of these marks the lock in force at its issue and the tint expected there. Returns how many.

    What is expected is the lock's tint, taken by the mark's scene to where the scene's rule moves it; of backgrounds
    held together, what most of them have, or ``NoTint.NOT_THE_SAME``. One UPDATE, whatever the number of marks, one
    more where anything is held together, and a look for waivers that this has outdated. To be called in the
    transaction of the change that made it needful; ``marks`` must not be chosen by what this sets.
    ``at``: the moment of the decision that made it needful, where it was one about locks.
    """
    in_force = of_mark(Lock.objects.in_force(OuterRef("position")))
    stretches = CostumeStretch.objects.standing().filter(costume__parts=OuterRef("part"))
    out_of_use = Q(part__isnull=False) & Exists(stretches) & ~Exists(stretches.in_force(OuterRef("position")))
    resolved = marks.order_by().update(
        lock=Case(When(out_of_use, then=Value(None)), default=Subquery(in_force.values("pk")[:1])),
        expected=Case(
            When(out_of_use, then=Value(NoTint.OUT_OF_USE.value)),
            default=Coalesce(Subquery(owed_by(in_force)), Value(NoTint.NO_LOCK.value)),
            output_field=TintField(),
        ),
        expected_to=Case(
            When(out_of_use, then=Value(NoTint.FLAT.value)),
            default=Coalesce(Subquery(owed_by(in_force, "to_tint")), Value(NoTint.FLAT.value)),
            output_field=TintField(),
        )
        if Lock.objects.standing().filter(to_tint__isnull=False).exists()
        else Value(NoTint.FLAT.value),
    )
    after_resolving(marks, at)
    return resolved


def of_mark(locks: LockQuerySet) -> LockQuerySet:
    """Those of some locks that speak of an outer query's mark."""
    return locks.filter(part=OuterRef("part"), role=OuterRef("role")).order_by()


def after_resolving(marks: MarkQuerySet, at: dt.datetime | None = None) -> None:
    """After some marks were resolved by what is locked: backgrounds are held together (``NoTint.NOT_THE_SAME``), and
    waivers die that any of it has outdated."""
    felt = hold_together(marks)
    bury_waivers(marks, at)
    bury_waivers(felt, at)


def create_resolved(marks: list[Mark]) -> None:
    """Save marks that are placed, resolved as by ``resolve``; nobody can have waived them yet.

    A single one, which is placed all day long, is resolved before it is saved: three small questions are put together
    much quicker than the one long statement, and its row is written once. A part that has been deleted meanwhile is
    left to the database to refuse.
    """
    if len(marks) == 1:
        _expect(marks[0])
    Mark.objects.bulk_create(marks)
    together = any(mark.part and mark.part.is_held_together for mark in marks)
    if len(marks) > 1 or together:
        resolve(Mark.objects.filter(pk__in=[mark.pk for mark in marks]))
    if len(marks) == 1 and together:  # what the others say of it is known to the database alone; its answer shows it
        marks[0].refresh_from_db(fields=["lock", "expected", "expected_to"])


def _expect(mark: Mark) -> None:
    """What the bible expects of one mark; nothing is saved."""
    if mark.part_id is None:
        return
    costume = Costume.objects.filter(parts=mark.part_id).first()
    if costume is None or not costume.in_use_at(mark.position):
        mark.expected = NoTint.OUT_OF_USE
    elif lock := Lock.objects.in_force(mark.position).of(mark.part_id, mark.role).first():
        first, second = seen_by(mark, lock.locked)
        rows = SceneTint.objects.filter(scene=mark.scene_id, tint__in=[tint for tint in (first, second) if tint])
        moved = {row.tint: row.shifted for row in rows} if mark.scene_id else {}
        mark.lock, mark.expected = lock, moved.get(first, first)
        mark.expected_to = NoTint.FLAT if second is None else moved.get(second, second)


def place(marks: MarkQuerySet) -> None:
    """Give each of these marks the scene that holds at its place, then resolve it."""
    put_in_scenes(marks)
    resolve(marks)


def reread(series: Series, by: User | None = None, why: str = "") -> int:
    """Read every mark's text anew after the notation or the chart changed. Returns how many now read differently."""
    marks = Mark.objects.filter(series=series)
    faded = marks.exclude(to_written="")
    return _reread(series, marks, "written", "tint", by, why) + _reread(
        series, faded, "to_written", "to_tint", by, why
    )


def _reread(series: Series, marks: MarkQuerySet, text: str, tint: str, by: User | None, why: str) -> int:
    """One UPDATE for hundreds of texts that read otherwise now: each of them goes over many marks."""
    pairs = marks.order_by().values_list(text, tint).distinct()
    now = {written: after for written, before in pairs if (after := read(series, written)) != before}
    changed = 0
    texts = list(now)
    for begin in range(0, len(texts), TEXTS_AT_ONCE):
        some = texts[begin : begin + TEXTS_AT_ONCE]
        reopening.reread(marks.filter(**{f"{text}__in": some}), text, series_id=series.pk, by=by, why=why)
        cases = [When(**{text: written}, then=Value(now[written], output_field=TintField())) for written in some]
        reading = Case(*cases, default=F(tint), output_field=TintField())
        misread = marks.filter(**{f"{text}__in": some})
        with counts.kept(misread):
            changed += misread.update(**{tint: reading})
    return changed


def resolve_parts(part_ids: list[int], at: dt.datetime | None = None) -> int:
    """``resolve`` for all marks of some parts of a series, quicker; marks that are right already are not written.
    Returns how many were written. The caller holds the parts, so that no lock joins them meanwhile."""
    marks = Mark.objects.filter(part_id__in=part_ids)
    # Of many parts, as in a merge, half may have none any more: what they would owe need not be put together.
    marked = part_ids if len(part_ids) == 1 else marks.order_by().values_list("part_id", flat=True).distinct()
    owing = owed_by_parts(list(marked))
    if None in owing.values():
        return resolve(marks, at)
    written = sum(_owe(part_id, owed) for part_id, owed in owing.items() if owed)
    after_resolving(marks, at)
    return written


def _owe(part_id: int, owed: OwedByPart) -> int:
    now = {"lock_now": owed.lock, "owed_now": owed.tint, "to_now": owed.to_tint}
    as_it_is = Q(lock_then=F("lock_now"), expected=F("owed_now"), expected_to=F("to_now"))
    outdated = Mark.objects.filter(part_id=part_id).alias(**now, lock_then=Coalesce("lock_id", Value(0)))
    return outdated.exclude(as_it_is).order_by().update(**owed.columns)


def hand_over(given: Iterable[tuple[MarkQuerySet, int]], **more: Any) -> None:
    """Some marks each become another part's, and owe what that has locked: one statement, since each writes every
    index of every row. For who is ``expecting_anew`` about all these parts: that settles it, and writes what light
    changes."""
    given = list(given)
    owing = owed_by_parts(list({part_id for _, part_id in given}))
    for marks, part_id in given:
        owed = owing[part_id]
        marks.order_by().update(part=part_id, **(owed.columns if owed else {}), **more)


def on_expectation_changed(
    *,
    series: Series,
    part_ids: list[int],
    by: User | None = None,
    why: str = "",
    at: dt.datetime | None = None,
    undone: dt.datetime | None = None,
    **kwargs: Any,
) -> None:
    with expecting_anew(series, part_ids, by=by, why=why, at=at, undone=undone):
        pass


@contextmanager
def expecting_anew(
    series: Series,
    part_ids: Iterable[int],
    *,
    by: User | None,
    why: str,
    at: dt.datetime | None = None,
    undone: dt.datetime | None = None,
    regrouped: bool = False,
) -> Iterator[None]:
    """Around a change of what the marks of some parts owe, or of which of these parts they belong to (``regrouped``:
    also of whom the parts are, so that light may fall on other ones). Everything is held before; marks are resolved,
    sign-offs fall or stand again after. ``at`` and ``undone`` as the signal ``expectation_changed`` has them."""
    hold_to_decide(series.pk, part_ids)
    parts = sorted(part_ids)
    marks = Mark.objects.filter(series=series, part_id__in=parts)
    hold_marks_of_parts(series.pk, marks)
    with reopening.watching(marks, series_id=series.pk, by=by, why=why):
        yield
        if regrouped and SceneTarget.objects.standing().filter(scene__series=series).exists():
            put_in_scenes(marks)
        if len(parts) > PARTS_ONE_BY_ONE:
            resolve(marks, at)
        else:
            resolve_parts(parts, at)
        if undone:
            revive_waivers(marks, died_at=undone, by=by)


def on_issue_archived(*, issue: Issue, by: User | None = None, why: str = "", **kwargs: Any) -> None:
    """An archived issue is no work any more: its marks do not stand. Back again, those of current guides do."""
    reopening.reopen(series_id=issue.series_id, issues=[issue.pk], by=by, why=why)
    marks = Mark.objects.filter(guide__in=Guide.objects.filter(issue=issue).current(), deleted_at=None)
    with counts.kept(marks):
        marks.update(live=issue.archived_at is None)
    after_resolving(Mark.objects.filter(guide__issue=issue))


def on_issue_moved(*, issue: Issue, by: User | None = None, why: str = "", **kwargs: Any) -> None:
    reopening.reopen(series_id=issue.series_id, issues=[issue.pk], by=by, why=why)
    marks = Mark.objects.filter(guide__in=Guide.objects.filter(issue=issue))
    marks.update(position=issue.position)
    resolve(marks)


def on_reading_changed(*, series: Series, by: User | None = None, why: str = "", **kwargs: Any) -> None:
    reread(series, by, why)
    marks = Mark.objects.filter(series=series)
    shifted = marks.exclude(scene=None)
    with reopening.watching(shifted, series_id=series.pk, by=by, why=why):
        resolve(shifted)
    after_resolving(marks)


def on_scene_changed(
    *, scene: Scene, by: User | None = None, why: str = "", falls_elsewhere: bool = False, **kwargs: Any
) -> None:
    """``falls_elsewhere``: what the scene is held to is another, so marks of its pages come under it or leave it."""
    areas = SceneArea.objects.standing().filter(scene=scene).order_by().values("guide")
    marks = Mark.objects.filter(guide__in=areas) if falls_elsewhere else Mark.objects.filter(scene=scene)
    with reopening.watching(marks, series_id=scene.series_id, by=by, why=why):
        (place if falls_elsewhere else resolve)(marks)


@dataclass(frozen=True, slots=True)
class Derived:
    """What one mark ought to carry, worked out from scratch."""

    mark_id: int
    position: int
    live: bool
    tint: Tint | NoTint
    lock_id: int | None
    expected: Tint | NoTint
    expected_to: Tint | NoTint
    scene_id: int | None
    waived: bool


def derive(series: Series) -> Iterator[Derived]:
    """The plain derivation: every mark's expectation from the locks, costumes and texts alone, by loops."""
    locks: dict[tuple[int, str], list[Lock]] = defaultdict(list)
    for standing in Lock.objects.filter(series=series, withdrawn_at=None):
        locks[standing.part_id, standing.role].append(standing)
    costumes = {
        part_id: costume
        for costume in Costume.objects.filter(subject__series=series).prefetch_related("parts", "stretches")
        for part_id in [part.pk for part in costume.parts.all()]
    }
    waivers = {waiver.mark_id: waiver for waiver in Waiver.objects.filter(series=series, died_at=None)}
    marks = _marks_as_written(series)
    scenes = _scenes_of(series, marks)
    together = derived_together(marks, {pk: scene.pk if scene else None for pk, scene in scenes.items()})
    for mark in marks:
        position, scene = mark.guide.issue.position, scenes[mark.pk]
        lock: Lock | None = None
        expected: Tint | NoTint = NoTint.NO_LOCK
        expected_to: Tint | NoTint = NoTint.FLAT
        if mark.part_id is not None:
            if not costumes[mark.part_id].in_use_at(position):
                expected = NoTint.OUT_OF_USE
            elif lock := _in_force(locks[mark.part_id, mark.role], position):
                expected, expected_to = owed_from_scratch(mark, lock, scene, series.chart)
            else:  # of a background held together it may be NoTint.NOT_THE_SAME
                expected, expected_to = together.get(mark.pk, (NoTint.NO_LOCK, NoTint.FLAT))
        yield Derived(
            mark_id=mark.pk,
            position=position,
            live=mark.guide.stands and mark.deleted_at is None,
            tint=mark.tint,
            lock_id=lock.pk if lock else None,
            expected=expected,
            expected_to=expected_to,
            scene_id=scene.pk if scene else None,
            waived=_waives(waivers.get(mark.pk), mark, expected, expected_to),
        )


def _marks_as_written(series: Series) -> list[Mark]:
    """Every mark with its tints read anew from its texts."""
    marks = list(Mark.objects.filter(series=series).order_by("id").select_related("guide__issue"))
    for mark in marks:
        mark.tint = read(series, mark.written)
        mark.to_tint = read(series, mark.to_written) if mark.to_written else None
    return marks


def _scenes_of(series: Series, marks: list[Mark]) -> dict[int, Scene | None]:
    """The scene in which each mark lies, if any."""
    areas: dict[int, list[SceneArea]] = defaultdict(list)
    for area in SceneArea.objects.filter(series=series, removed_at=None).with_targets():
        areas[area.guide_id].append(area)
    subjects = dict(Part.objects.filter(costume__subject__series=series).values_list("pk", "costume__subject"))
    return {
        mark.pk: scene_from_scratch(areas[mark.guide_id], mark, subjects.get(mark.part_id or 0)) for mark in marks
    }


def _in_force(locks: list[Lock], position: int) -> Lock | None:
    begun = (lock for lock in locks if lock.from_position <= position)
    return next((lock for lock in begun if lock.to_position is None or position < lock.to_position), None)


def _waives(waiver: Waiver | None, mark: Mark, expected: Tint | NoTint, expected_to: Tint | NoTint) -> bool:
    """Whether what was waived is exactly what stands there now."""
    if waiver is None:
        return False
    waived = (waiver.part_id, waiver.role, waiver.tint, waiver.expected, waiver.fades_to, waiver.expected_to)
    ends = NoTint.FLAT if mark.to_tint is None else mark.to_tint
    return waived == (mark.part_id, mark.role, mark.tint, expected, ends, expected_to)


def discrepancies(series: Series) -> list[tuple[Derived, Derived]]:
    """(stored, derived) for each mark on which what is stored and what follows from scratch are not the same."""
    stored = {
        row[0]: Derived(*row)
        for row in Mark.objects.filter(series=series).values_list(
            "id", "position", "live", "tint", "lock_id", "expected", "expected_to", "scene_id", "waived"
        )
    }
    return [(stored[d.mark_id], d) for d in derive(series) if stored[d.mark_id] != d]
