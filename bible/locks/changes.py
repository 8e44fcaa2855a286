"""Which locks changed between two moments: what was in force at one issue and day against another issue and day."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from django.db.models import Q
from django.utils import timezone

from bible.colour.gradients import TintOrGradient
from bible.models import Issue, Lock, LockQuerySet, Part, Series

LockKey = tuple[int, str]


@dataclass(frozen=True, slots=True)
class LockChange:
    """A part and role whose code is another one: ``was`` or ``now`` is None where nothing was in force."""

    part: Part
    role: str
    was: Lock | None
    now: Lock | None

    @property
    def decision(self) -> Lock:
        """What brought it about: the later lock, or the one that ended."""
        lock = self.now or self.was
        assert lock is not None
        return lock

    @property
    def what(self) -> str:
        if self.was is None:
            return "new"
        return "ended" if self.now is None else "changed"


def known_at(series: Series, position: int, day: dt.date | None) -> LockQuerySet:
    """The locks that were in force at a position by what had been decided at the end of a day; None: by now. What is
    left of an older lock beside a later one has the older one's date, so the newest decision counts."""
    rows = Lock.objects.filter(series=series).select_related("part__costume__subject__series", "decided_by")
    if day is None:
        return rows.in_force(position)
    end = timezone.make_aware(dt.datetime.combine(day, dt.time.max))
    at_place = Q(to_position=None) | Q(to_position__gt=position)
    stood = Q(withdrawn_at=None) | Q(withdrawn_at__gt=end)
    return rows.filter(at_place, stood, from_position__lte=position, decided_at__lte=end)


def lock_changes(
    series: Series, first: Issue, last: Issue, since: dt.date | None = None, until: dt.date | None = None
) -> list[LockChange]:
    """What differs between the bible at one issue, as it was known on a day, and at another one: two queries."""
    was, now = (
        {(lock.part_id, lock.role): lock for lock in known_at(series, place, day).order_by("decided_at", "id")}
        for place, day in ((first.position, since), (last.position, until))
    )
    changes = []
    for key in was.keys() | now.keys():
        before, after = was.get(key), now.get(key)
        if _said(before) != _said(after):
            changes.append(LockChange((after or before).part, key[1], before, after))  # type: ignore[union-attr]
    return sorted(changes, key=lambda change: _place(change, series))


def _said(lock: Lock | None) -> TintOrGradient | None:
    return lock.locked if lock else None


def _place(change: LockChange, series: Series) -> tuple[object, ...]:
    part, costume = change.part, change.part.costume
    rank = series.roles.rank(change.role)
    return (costume.subject.name.casefold(), costume.rank, costume.name, part.rank, part.name, rank, change.role)
