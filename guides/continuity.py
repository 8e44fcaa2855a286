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

from django.db.models import Case, Exists, OuterRef, Q, Subquery, Value, When
from django.db.models.functions import Coalesce

from bible.colour.notation import NotationError
from bible.colour.tints import Tint
from bible.fields import NoTint, TintField
from bible.models import Costume, Issue, Lock, Series
from guides.models import Guide, Mark, MarkQuerySet


def read(series: Series, written: str) -> Tint | NoTint:
    """The tint of a code as written in a series, or ``NoTint.UNREADABLE``; the text is kept by the caller."""
    try:
        return series.read(written)
    except NotationError:
        return NoTint.UNREADABLE


def resolve(marks: MarkQuerySet) -> int:
    """Give each of these marks the lock in force at its issue and the tint expected there. Returns how many.

    One UPDATE, whatever the number of marks. To be called in the transaction of the change that made it needful.
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
    return marks.order_by().update(
        lock=Case(When(out_of_use, then=Value(None)), default=Subquery(in_force.values("pk")[:1])),
        expected=Case(
            When(out_of_use, then=Value(NoTint.OUT_OF_USE.value)),
            default=Coalesce(Subquery(in_force.values("tint")[:1]), Value(NoTint.NO_LOCK.value)),
            output_field=TintField(),
        ),
    )


def reread(series: Series) -> int:
    """Read every mark's text anew after the notation or the chart changed. Returns how many now read differently."""
    marks = Mark.objects.filter(series=series)
    changed = 0
    for written, before in marks.order_by().values_list("written", "tint").distinct():
        if (now := read(series, written)) != before:
            changed += marks.filter(written=written).update(tint=now)
    return changed


def on_expectation_changed(*, series: Series, part_ids: list[int], **kwargs: Any) -> None:
    resolve(Mark.objects.filter(series=series, part_id__in=part_ids))


def on_issue_moved(*, issue: Issue, **kwargs: Any) -> None:
    marks = Mark.objects.filter(guide__in=Guide.objects.filter(issue=issue))
    marks.update(position=issue.position)
    resolve(marks)


def on_reading_changed(*, series: Series, **kwargs: Any) -> None:
    reread(series)


@dataclass(frozen=True, slots=True)
class Derived:
    """What one mark ought to carry, worked out from scratch."""

    mark_id: int
    position: int
    live: bool
    tint: Tint | NoTint
    lock_id: int | None
    expected: Tint | NoTint


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
    marks = Mark.objects.filter(series=series).order_by("id").select_related("guide__issue").iterator(2000)
    for mark in marks:
        position = mark.guide.issue.position
        lock: Lock | None = None
        expected: Tint | NoTint = NoTint.NO_LOCK
        if mark.part_id is not None:
            if not costumes[mark.part_id].in_use_at(position):
                expected = NoTint.OUT_OF_USE
            else:
                for candidate in locks[mark.part_id, mark.role]:
                    ends = candidate.to_position
                    if candidate.from_position <= position and (ends is None or position < ends):
                        lock, expected = candidate, candidate.tint
        yield Derived(
            mark_id=mark.pk,
            position=position,
            live=mark.guide.is_current and mark.deleted_at is None,
            tint=read(series, mark.written),
            lock_id=lock.pk if lock else None,
            expected=expected,
        )


def discrepancies(series: Series) -> list[tuple[Derived, Derived]]:
    """(stored, derived) for each mark on which what is stored and what follows from scratch are not the same."""
    stored = {
        row[0]: Derived(*row)
        for row in Mark.objects.filter(series=series).values_list(
            "id", "position", "live", "tint", "lock_id", "expected"
        )
    }
    return [(stored[d.mark_id], d) for d in derive(series) if stored[d.mark_id] != d]
