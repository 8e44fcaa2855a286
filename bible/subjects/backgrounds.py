"""Backgrounds with names: the sky, the grass, the harbour wall are parts of places, made where they are wanted, and
the same within the series, each issue or each scene."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import transaction

from bible import signals
from bible.models import ActivityKind, Part, Within
from bible.series.holding import hold_to_decide
from bible.series.refusals import Refused
from bible.series.things import record_of

if TYPE_CHECKING:
    from django.contrib.auth.models import User


@transaction.atomic
def hold_within(*, part: Part, within: str, by: User) -> None:
    """Say within what a part is the same; its marks are resolved anew. Said again, it is taken back.

    Raises:
        Refused: it is held so already, or the part has been deleted.
    """
    series = part.costume.subject.series
    hold_to_decide(series.pk, [part.pk])
    part.refresh_from_db(fields=["held_within"])
    if part.held_within == within:
        raise Refused(f"{part.full_name} is the same within {Within(within).label} already.")
    part.held_within = Within(within)
    part.save(update_fields=["held_within"])
    record_of(ActivityKind.CHANGED, part, by)
    why = f"{part.full_name} is the same within {part.get_held_within_display()}"
    signals.expectation_changed.send(sender=Part, series=series, part_ids=[part.pk], by=by, why=why)
