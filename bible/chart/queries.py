"""Who uses a tint: the locks that carry it, be it as the second of a fade; of an edition those that it needs."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Count, Max

from bible.colour.tints import Tint
from bible.models import Edition, Lock, LockQuerySet, Part, Series, Subject
from bible.series.running_order import AsOf


@dataclass(frozen=True, slots=True)
class Uses:
    """How many locks in force carry a tint, and one of the parts they are on."""

    count: int
    part: Part

    @property
    def more(self) -> int:
        return self.count - 1


ENDS = ("tint", "to_tint")
"""The columns of a lock's two codes; the second is empty where it is flat."""


def locks_now(series: Series, edition: Edition | None = None) -> LockQuerySet:
    """The locks of living subjects that hold as of the latest issue, of an edition as of its last."""
    locks = Lock.every_printing.filter(series=series, part__costume__subject__archived_at=None)
    return locks.needed_in(edition, AsOf.at(series, edition=edition).position)


def uses_by_tint(series: Series, edition: Edition | None = None) -> dict[Tint, Uses]:
    """Every tint some lock now carries. Three queries, with a row for each tint and not for each lock."""
    counts: dict[Tint, tuple[int, int]] = {}
    for end in ENDS:
        counted = locks_now(series, edition).exclude(**{end: None}).order_by().values_list(end)
        for tint, count, part in counted.annotate(n=Count("id"), part=Max("part")):
            others, most = counts.get(tint, (0, 0))
            counts[tint] = (count + others, max(part, most))
    parts = Part.objects.select_related("costume__subject").in_bulk({part for _, part in counts.values()})
    return {tint: Uses(count, parts[part]) for tint, (count, part) in counts.items()}


def locks_carrying(series: Series, tint: Tint) -> LockQuerySet:
    """Every lock that stands with a tint, at whatever issues, with the names a list prints."""
    locks = Lock.objects.filter(series=series).carrying(tint).standing().select_related("part__costume__subject")
    return locks.order_by("part__costume__subject__name", "part__costume__rank", "part__rank", "part_id", "id")


NamedLock = tuple[Tint, int, str, str, str]
"""Tint, subject's key, subject, part, role: what a list of look-alikes prints of a lock."""


def named_locks(series: Series, tints: Iterable[Tint], edition: Edition | None = None) -> Iterable[NamedLock]:
    """The locks that now carry one of some tints, by name, without building their rows: there may be thousands."""
    names = ("part__costume__subject__name", "part__name", "role")
    wanted, locks = [tint.packed for tint in tints], locks_now(series, edition).order_by(*names)
    for end in ENDS:
        yield from locks.filter(**{f"{end}__in": wanted}).values_list(end, "part__costume__subject", *names)


def tints_against_others(
    series: Series, subject: Subject, edition: Edition | None = None
) -> tuple[list[Tint], list[Tint]]:
    """The distinct tints now locked on a subject, and those on all the others."""
    rows = locks_now(series, edition).order_by().values_list("part__costume__subject", *ENDS).distinct()
    carried = {(tint, owner) for owner, *ends in rows for tint in ends if tint is not None}
    ours = sorted({tint for tint, owner in carried if owner == subject.pk})
    return ours, sorted({tint for tint, owner in carried if owner != subject.pk})
