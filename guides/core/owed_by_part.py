"""What the marks of one part owe, for statements about all of them.

Its few locks and its costume's time stand in the statement itself, so nothing is looked up for each mark.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from functools import reduce
from operator import or_
from typing import Any

from django.db.models import BigIntegerField, Case, F, Q, Value, When
from django.db.models.functions import NullIf

from bible.colour.gradients import ends_of
from bible.colour.tints import Tint
from bible.models import CostumeStretch, Lock, Scene, SceneTint
from bible.models.fields import NoTint, TintField
from bible.models.stretches import HasStretch
from guides.core.gradients import ways_seen

CASES_AT_MOST = 150
"""Locks of one part, times scenes that move their tints, up to which they are written into one statement."""


Moved = dict[Tint, list[SceneTint]]
"""What scenes make of tints, by tint."""


@dataclass(frozen=True, slots=True)
class OwedByPart:
    """As expressions in a query of marks: the key of the lock in force (0: none), the tint, what that fades to."""

    lock: Case
    tint: Case
    to_tint: Case

    @property
    def columns(self) -> dict[str, Any]:
        return {"lock": NullIf(self.lock, Value(0)), "expected": self.tint, "expected_to": self.to_tint}


def owed_by_part(part_id: int) -> OwedByPart | None:
    """``owed_by_parts`` of one part."""
    return owed_by_parts([part_id])[part_id]


def owed_by_parts(part_ids: Sequence[int]) -> dict[int, OwedByPart | None]:
    """By part, all of one series, in three questions; None where there would be too many cases for one statement."""
    locks: dict[int, list[Lock]] = defaultdict(list)
    for lock in Lock.objects.filter(part_id__in=part_ids).standing():
        locks[lock.part_id].append(lock)
    moved: Moved = defaultdict(list)
    of_series = Scene.objects.filter(series__subjects__costumes__parts__in=part_ids[:1])
    ends = {tint for some in locks.values() for lock in some for tint in ends_of(lock.locked) if tint}
    for row in SceneTint.objects.filter(scene__in=of_series, tint__in=ends):
        moved[row.tint].append(row)
    worn: dict[int, list[CostumeStretch]] = defaultdict(list)
    stretches = CostumeStretch.objects.standing().filter(costume__parts__in=part_ids)
    for stretch in stretches.annotate(part_id=F("costume__parts")):
        worn[stretch.part_id].append(stretch)
    return {part_id: _owed(locks[part_id], worn[part_id], moved) for part_id in part_ids}


def _owed(locks: list[Lock], worn: list[CostumeStretch], moved: Moved) -> OwedByPart | None:
    """What follows from a part's locks, when its costume is worn, and where scenes take the locks' tints."""
    if len(locks) + sum(len(moved[tint]) for lock in locks for tint in ends_of(lock.locked) if tint) > CASES_AT_MOST:
        return None
    lock_cases, owed_cases, owed_to_cases = [], [], []
    if worn:
        unworn = ~reduce(or_, map(_covered, worn))
        lock_cases.append(When(unworn, then=Value(0)))
        owed_cases.append(When(unworn, then=Value(NoTint.OUT_OF_USE.value)))
        owed_to_cases.append(When(unworn, then=Value(NoTint.FLAT.value)))
    for lock in locks:
        holds = Q(role=lock.role) & _covered(lock)
        lock_cases.append(When(holds, then=Value(lock.pk)))
        for (first, second), seen in ways_seen(lock.locked):
            owed_cases += _cases(first, holds & seen, moved)
            owed_to_cases += _cases(second, holds & seen, moved) if second else []
    lock_now = Case(*lock_cases, default=Value(0), output_field=BigIntegerField())
    owed_now = Case(*owed_cases, default=Value(NoTint.NO_LOCK.value), output_field=TintField())
    to_now = Case(*owed_to_cases, default=Value(NoTint.FLAT.value), output_field=TintField())
    return OwedByPart(lock_now, owed_now, to_now)


def _cases(tint: Tint, holds: Q, moved: Moved) -> list[When]:
    """What a mark owes that a lock's tint holds for: what the scene it stands in makes of it, else the tint."""
    within = [When(holds, scene=row.scene_id, then=Value(row.shifted.packed)) for row in moved[tint]]
    return [*within, When(holds, then=Value(tint.packed))]


def _covered(stretch: HasStretch) -> Q:
    """A mark's position lies within a stretch."""
    covered = Q(position__gte=stretch.from_position)
    return covered if stretch.to_position is None else covered & Q(position__lt=stretch.to_position)
