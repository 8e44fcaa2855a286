"""Which issues use the old coat: every look that a part has been locked with, and the marks that carry it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Count, F

from bible.colour.tints import Tint
from bible.models import Issue, Lock, Part
from bible.models.roles import RoleList
from bible.series.running_order import RunningOrder
from guides.models import Mark


@dataclass(frozen=True)
class PartLook:
    """One tint that a part and role is or was locked with.

    ``within`` are issues (with how many marks) that carry it where the bible asks for it; ``outside`` those that
    carry it where the bible, as it now stands, asks for something else.
    """

    part: Part
    role: str
    tint: Tint
    spans: tuple[str, ...]
    withdrawn: tuple[Lock, ...]
    within: tuple[tuple[Issue, int], ...]
    outside: tuple[tuple[Issue, int], ...]
    is_newest: bool

    @property
    def outside_count(self) -> int:
        return sum(number for _, number in self.outside)

    @property
    def within_count(self) -> int:
        return sum(number for _, number in self.within)


def looks(order: RunningOrder, roles: RoleList, parts: Iterable[Part]) -> list[PartLook]:
    """The looks of some parts, the newest of each part and role first. Two queries, however many parts."""
    by_id = {part.pk: part for part in parts}
    locks: dict[tuple[int, str, Tint], list[Lock]] = defaultdict(list)
    for lock in Lock.objects.filter(part__in=by_id).with_people().order_by("from_position", "id"):
        locks[lock.part_id, lock.role, lock.tint].append(lock)
    carried = _carried(by_id)
    places = {issue.position: issue for issue in order.issues}
    standing = {
        key: max((lock.from_position for lock in of_look if lock.withdrawn_at is None), default=-1)
        for key, of_look in locks.items()
    }
    newest: dict[tuple[int, str], int] = defaultdict(lambda: -1)
    for (part, role, _), start in standing.items():
        newest[part, role] = max(newest[part, role], start)
    ranks = {part: rank for rank, part in enumerate(by_id)}
    part_looks = []
    for key in sorted(locks, key=lambda key: (ranks[key[0]], roles.rank(key[1]), -standing[key], key[2])):
        part, role, tint = key
        here = {
            agrees: tuple(
                (places[position], number)
                for position, number in sorted(carried[part, role, tint, agrees].items())
                if position in places
            )
            for agrees in (True, False)
        }
        part_looks.append(
            PartLook(
                part=by_id[part],
                role=role,
                tint=tint,
                spans=tuple(order.span(lock) for lock in locks[key] if lock.withdrawn_at is None),
                withdrawn=tuple(lock for lock in locks[key] if lock.withdrawn_at is not None),
                within=here[True],
                outside=here[False],
                is_newest=standing[key] == newest[part, role] and standing[key] >= 0,
            )
        )
    return part_looks


def _carried(parts: Iterable[int]) -> dict[tuple[int, str, Tint, bool], dict[int, int]]:
    """(part, role, tint, whether that is what is expected) -> position -> number of live marks."""
    rows = (
        Mark.objects.live()
        .filter(part__in=list(parts))
        .order_by()
        .annotate(owed=F("expected"))
        .values_list("part_id", "role", "tint", "owed", "position")
        .annotate(n=Count("id"))
    )
    counts: dict[tuple[int, str, Tint, bool], dict[int, int]] = defaultdict(lambda: defaultdict(int))
    for part, role, tint, owed, position, number in rows:
        counts[part, role, tint, tint == owed][position] += number
    return counts
