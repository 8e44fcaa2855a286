"""What differs between two printings: parts whose codes are not the same, and the marks that this concerns."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, replace
from itertools import pairwise

from django.db.models import Count

from bible.colour.gradients import ends_of
from bible.colour.press import PressCondition
from bible.locks.stretches import left_open
from bible.models import Edition, Issue, Lock, Part
from bible.models.stretches import Stretch
from guides.core.flags import differences_of
from guides.core.in_editions import marks_of, translated

Span = tuple[int, int | None, Lock | None]
"""(from position, to position, the lock that is needed there)."""


@dataclass(frozen=True, slots=True)
class PrintingDifference:
    """A part's role over a stretch in which two printings need different codes.

    ``was`` is the first printing's or the other edition's, ``now`` the edition's, None where it has none. ``marks``:
    how many marks of the edition's issues are translated there. ``delta_e``: CIEDE2000 between the two on its press,
    of a fade at the end where they are further apart.
    """

    part: Part
    role: str
    stretch: Stretch
    was: Lock | None
    now: Lock | None
    marks: int = 0
    delta_e: float | None = None


def printing_differences(edition: Edition, beside: Edition | None) -> list[PrintingDifference]:
    """Where an edition needs another code than the first printing, or than another edition. In the bible's order."""
    series = edition.series
    locks = Lock.every_printing.filter(series=series).standing()
    own = locks.filter(edition__in=[printing for printing in (edition, beside) if printing])
    parts = Part.objects.filter(pk__in=own.order_by().values("part")).with_names().select_related("costume__subject")
    by_pk = {part.pk: part for part in parts}
    by_role: dict[tuple[int, str], list[Lock]] = defaultdict(list)
    for lock in locks.filter(part__in=by_pk).with_people().order_by("from_position"):
        by_role[lock.part_id, lock.role].append(lock)
    differences = []
    for (part, role), rows in by_role.items():
        for stretch, was, now in _unlike(_spans(rows, beside), _spans(rows, edition)):
            differences.append(PrintingDifference(by_pk[part], role, stretch, was, now))
    ranks = {part: rank for rank, part in enumerate(by_pk)}
    differences.sort(
        key=lambda difference: (
            ranks[difference.part.pk],
            series.roles.rank(difference.role),
            difference.stretch.from_position,
        )
    )
    return differences


def _spans(locks: Iterable[Lock], edition: Edition | None) -> list[Span]:
    """What a printing needs of one part's role along the running order, its own locks first."""
    locks = list(locks)
    own = [lock for lock in locks if edition and lock.edition_id == edition.pk]
    taken = [(lock.from_position, lock.to_position) for lock in own]
    spans: list[Span] = [(lock.from_position, lock.to_position, lock) for lock in own]
    for lock in locks:
        if lock.edition_id is None:
            free = left_open(Stretch(lock.from_position, lock.to_position), taken)
            spans += [(gap.from_position, gap.to_position, lock) for gap in free]
    return spans


def _unlike(before: list[Span], after: list[Span]) -> Iterable[tuple[Stretch, Lock | None, Lock | None]]:
    """Stretches in which the two say different codes; neighbours that say the same stand together."""
    ends = {place for begins, ends, _ in (*before, *after) for place in (begins, ends) if place is not None}
    cuts: list[int | None] = [*sorted(ends), None]
    open_one: tuple[int, Lock | None, Lock | None] | None = None
    for begins, ends_at in pairwise(cuts):
        assert begins is not None
        was, now = (_at(spans, begins) for spans in (before, after))
        unlike = (was and was.locked) != (now and now.locked)
        if open_one and (not unlike or (was, now) != open_one[1:]):
            yield Stretch(open_one[0], begins), open_one[1], open_one[2]
            open_one = None
        if unlike and open_one is None:
            open_one = (begins, was, now)
        if open_one and ends_at is None:
            yield Stretch(open_one[0], None), open_one[1], open_one[2]


def _at(spans: Iterable[Span], position: int) -> Lock | None:
    return next(
        (lock for begins, ends, lock in spans if begins <= position and (ends is None or position < ends)), None
    )


def with_marks(rows: list[PrintingDifference], edition: Edition) -> list[PrintingDifference]:
    """Each with how many marks of the edition's issues need another code there than their page says."""
    marks = translated(marks_of(edition), edition).order_by().values_list("part", "role", "position")
    counts: dict[tuple[int, str], list[tuple[int, int]]] = defaultdict(list)
    for part, role, position, number in marks.annotate(n=Count("id")):
        counts[part, role].append((position, number))
    return [
        replace(
            difference,
            marks=sum(n for at, n in counts[difference.part.pk, difference.role] if difference.stretch.holds_at(at)),
        )
        for difference in rows
    ]


def apart_in_print(rows: Iterable[PrintingDifference], press: PressCondition) -> list[PrintingDifference]:
    """Each with how far apart its two codes print on one press, where there are two."""
    rows = list(rows)
    both = [
        (ends_of(difference.was.locked), ends_of(difference.now.locked))
        for difference in rows
        if difference.was and difference.now
    ]
    begins = differences_of([(was[0], now[0]) for was, now in both], press)
    ends = differences_of([(was[1] or was[0], now[1] or now[0]) for was, now in both], press)
    apart = map(max, begins, ends)
    return [
        replace(difference, delta_e=next(apart)) if difference.was and difference.now else difference
        for difference in rows
    ]


def translated_by_issue(edition: Edition) -> list[tuple[Issue, int]]:
    """How many marks of each issue need another code in an edition than is written on their page."""
    marks = translated(marks_of(edition), edition).order_by().values_list("position")
    counts = dict(marks.annotate(n=Count("id")))
    return [(issue, counts.get(issue.position, 0)) for issue in edition.issues]
