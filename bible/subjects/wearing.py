"""When a costume is worn: in any number of stretches, said anew as a whole.

What was said before is withdrawn, not deleted: saying it again takes the change back, with the waivers that died of
it.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from bible import signals
from bible.models import ActivityKind, Costume, CostumeStretch, Issue, Lock
from bible.models.stretches import Stretch
from bible.series.edits import add, save_edit
from bible.series.holding import hold_places, hold_to_decide
from bible.series.refusals import Refused
from bible.series.things import record_of, title_of

if TYPE_CHECKING:
    from django.contrib.auth.models import User

ALWAYS: tuple[Stretch, ...] = ()


def tidy(stretches: Iterable[Stretch]) -> tuple[Stretch, ...]:
    """In running order, those that touch as one; ``ALWAYS`` where they cover everything.

    Raises:
        Refused: two of them overlap, or one ends before it begins.
    """
    tidied: list[Stretch] = []
    for begins, ends in sorted(stretches, key=lambda stretch: stretch.from_position):
        if ends is not None and ends <= begins:
            raise Refused("A costume cannot be worn up to an issue before the one it is worn from.")
        if tidied:
            before = tidied[-1]
            if before.to_position is None or before.to_position > begins:
                raise Refused("Two of these stretches overlap: an issue stands in both. Say each issue once.")
            if before.to_position == begins:
                tidied[-1] = Stretch(before.from_position, ends)
                continue
        tidied.append(Stretch(begins, ends))
    return ALWAYS if tidied == [Stretch(0)] else tuple(tidied)


def together(*worn: tuple[Stretch, ...]) -> tuple[Stretch, ...]:
    """When something is worn that is worn in any of these times."""
    if ALWAYS in worn:
        return ALWAYS
    merged: list[Stretch] = []
    for begins, ends in sorted(
        {stretch for times in worn for stretch in times}, key=lambda stretch: stretch.from_position
    ):
        before = merged[-1] if merged else None
        if before and (before.to_position is None or before.to_position >= begins):
            reach = None if ends is None or before.to_position is None else max(before.to_position, ends)
            merged[-1] = Stretch(before.from_position, reach)
        else:
            merged.append(Stretch(begins, ends))
    return tidy(merged)


@transaction.atomic
def set_worn(
    *, costume: Costume, worn: Iterable[Stretch], by: User | None = None, places: Iterable[Issue | None] = ()
) -> bool:
    """Say in which stretches a costume is worn; none: always. Returns whether that is another time than before.

    Args:
        places: the issues that the positions were said by, for ``hold_places``.
    """
    hold_to_decide(costume.subject.series_id, costume.parts.values_list("pk", flat=True))
    hold_places(places)
    changed = _say(costume, tidy(worn), by)
    if changed:
        record_of(ActivityKind.CHANGED, costume, by)
    return changed


@transaction.atomic
def add_costume(
    *, row: Costume, worn: Iterable[Stretch] = ALWAYS, by: User | None, places: Iterable[Issue | None] = ()
) -> None:
    """Save a new costume and when it is worn."""
    add(row=row, by=by, places=places)
    now = timezone.now()
    CostumeStretch.objects.bulk_create(
        CostumeStretch(costume=row, said_by=by, said_at=now, **stretch._asdict()) for stretch in tidy(worn)
    )


@transaction.atomic
def edit_costume(
    *,
    costume: Costume,
    worn: Iterable[Stretch],
    by: User | None,
    seen: str = "",
    places: Iterable[Issue | None] = (),
) -> None:
    """Save a costume's name, as it stands on the row, and when it is worn, as one deed. ``seen`` and ``places`` as
    ``bible.series.edits.save_edit`` has them, of name and ``worn``."""
    renamed = save_edit(row=costume, fields=("name", "worn"), by=by, seen=seen, places=places)
    if _say(costume, tidy(worn), by) and not renamed:
        record_of(ActivityKind.CHANGED, costume, by)


def _say(costume: Costume, worn: tuple[Stretch, ...], by: User | None) -> bool:
    """For who holds the costume's parts. A time that is as it was before the last change undoes that one."""
    stored = Costume.objects.select_for_update(no_key=True).get(pk=costume.pk)
    before = stored.worn
    if worn == before:
        return False
    now, stretches = timezone.now(), CostumeStretch.objects.filter(costume=stored)
    for gone in set(before) - set(worn):
        stretches.standing().filter(from_position=gone.from_position).update(withdrawn_at=now)
    CostumeStretch.objects.bulk_create(
        CostumeStretch(costume=stored, said_by=by, said_at=now, **stretch._asdict())
        for stretch in worn
        if stretch not in set(before)
    )
    Costume.objects.filter(pk=stored.pk).update(time_said_at=now)
    parts, series = list(stored.parts.values_list("pk", flat=True)), costume.subject.series
    why, undone = f"time of {title_of(costume)} changed", stored.time_said_at
    signals.expectation_changed.send(
        sender=Lock, series=series, part_ids=parts, by=by, why=why, at=now, undone=undone
    )
    return True


def worn_before(costume: Costume) -> tuple[Stretch, ...] | None:
    """What was said before the last change; None where nothing is known of one."""
    at = costume.time_said_at
    rows = list(costume.stretches.all())
    if at is None or not any(at in (row.said_at, row.withdrawn_at) for row in rows):
        return None
    return tuple(
        sorted(
            Stretch(row.from_position, row.to_position)
            for row in rows
            if (row.said_at is None or row.said_at < at) and (row.withdrawn_at is None or row.withdrawn_at >= at)
        )
    )
