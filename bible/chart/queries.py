"""Who uses a tint: the locks that carry it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Count, Max

from bible.colour.tints import Tint
from bible.models import Lock, LockQuerySet, Part, Series, Subject
from bible.series.running_order import AsOf


@dataclass(frozen=True, slots=True)
class Uses:
    """How many locks in force carry a tint, and one of the parts they are on."""

    count: int
    part: Part

    @property
    def more(self) -> int:
        return self.count - 1


def locks_now(series: Series) -> LockQuerySet:
    """The locks of living subjects that hold as of the latest issue."""
    locks = Lock.objects.filter(series=series, part__costume__subject__archived_at=None)
    return locks.in_force(AsOf.at(series).position)


def uses_by_tint(series: Series) -> dict[Tint, Uses]:
    """Every tint some lock now carries. Two queries, with a row for each tint and not for each lock."""
    counted = locks_now(series).order_by().values_list("tint").annotate(n=Count("id"), part=Max("part"))
    rows = list(counted)
    parts = Part.objects.select_related("costume__subject").in_bulk([part for _, _, part in rows])
    return {tint: Uses(count, parts[part]) for tint, count, part in rows}


def locks_carrying(series: Series, tint: Tint) -> LockQuerySet:
    """Every lock that stands with a tint, at whatever issues, with the names a list prints."""
    locks = Lock.objects.filter(series=series, tint=tint.packed).standing().select_related("part__costume__subject")
    return locks.order_by("part__costume__subject__name", "part__costume__rank", "part__rank", "part_id", "id")


NamedLock = tuple[Tint, int, str, str, str]
"""Tint, subject's key, subject, part, role: what a list of look-alikes prints of a lock."""


def named_locks(series: Series, tints: Iterable[Tint]) -> Iterable[NamedLock]:
    """The locks that now carry one of some tints, by name, without building their rows: there may be thousands."""
    names = ("part__costume__subject__name", "part__name", "role")
    locks = locks_now(series).filter(tint__in=[tint.packed for tint in tints])
    return locks.order_by(*names).values_list("tint", "part__costume__subject", *names)


def tints_against_others(series: Series, subject: Subject) -> tuple[list[Tint], list[Tint]]:
    """The distinct tints now locked on a subject, and those on all the others."""
    rows = locks_now(series).order_by().values_list("tint", "part__costume__subject").distinct()
    ours = sorted({tint for tint, owner in rows if owner == subject.pk})
    return ours, sorted({tint for tint, owner in rows if owner != subject.pk})
