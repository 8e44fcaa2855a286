"""What stands against each other where two turn out to be one."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from bible.models import Lock, Part, Subject
from bible.series.running_order import RunningOrder


def pairs_of(source: Subject, target: Subject) -> list[tuple[Part, Part]]:
    """The parts of two subjects that would become one: of costumes of one name, and of one name themselves."""

    def by_name(subject: Subject) -> dict[tuple[str, str], Part]:
        parts = Part.objects.filter(costume__subject=subject).with_names()
        return {(part.costume.name.casefold(), part.name.casefold()): part for part in parts}

    ours, theirs = by_name(source), by_name(target)
    return [(part, theirs[names]) for names, part in ours.items() if names in theirs]


def collisions(pairs: Iterable[tuple[Part, Part]]) -> Iterator[str]:
    """Where both parts of a pair are locked in the same role and issues, to different tints: the second's holds."""
    order: RunningOrder | None = None
    for source, target in pairs:
        for lock in Lock.objects.filter(part=source).standing():
            series = target.costume.subject.series
            rivals = Lock.objects.of(target.pk, lock.role).overlapping(lock.from_position, lock.to_position)
            for other in rivals.exclude(tint=lock.tint.packed):
                order = order or RunningOrder.of(series)
                yield (
                    f"{target.full_name}, {series.roles.name(other.role)}: {series.write(other.tint)} holds"
                    f" ({order.span(other)}), not {series.write(lock.locked)} of {source.full_name}"
                )
