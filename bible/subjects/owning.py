"""Whose something is: a prop that changes hands, stretch by stretch. Said anew as a whole; nothing is deleted."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

from django.db import transaction
from django.utils import timezone

from bible.models import ActivityKind, Issue, Ownership, Series, Subject
from bible.series.holding import How, hold, hold_places, series_rows
from bible.series.refusals import Refused
from bible.series.running_order import RunningOrder
from bible.series.things import record_of

if TYPE_CHECKING:
    from django.contrib.auth.models import User


class Owned(NamedTuple):
    """With whom, from one position up to, not including, another."""

    owner: int
    from_position: int
    to_position: int | None


def owned(subject: Subject) -> tuple[Owned, ...]:
    """Whose it is, in running order."""
    rows = Ownership.objects.filter(subject=subject).standing()
    return tuple(Owned(*row) for row in rows.values_list("owner", "from_position", "to_position"))


def belongings(series: Series, subjects: Iterable[int], order: RunningOrder) -> dict[int, list[str]]:
    """By subject, in words, whose it is and what it has, each with its issues; one query, however many."""
    wanted, words = set(subjects), defaultdict(list)
    rows = Ownership.objects.standing().filter(subject__series=series, subject__archived_at=None)
    for ownership in rows.select_related("subject", "owner").order_by("from_position", "id"):
        if ownership.subject_id in wanted:
            words[ownership.subject_id].append(f"Belongs to {ownership.owner.name}, {order.span(ownership)}.")
        if ownership.owner_id in wanted:
            words[ownership.owner_id].append(f"Has {ownership.subject.name}, {order.span(ownership)}.")
    return dict(words)


@transaction.atomic
def set_owners(
    *, subject: Subject, owners: Iterable[Owned], by: User | None, places: Iterable[Issue | None] = ()
) -> bool:
    """Say whose something is. Returns whether that is something else than before.

    Raises:
        Refused: two at once, of another series, or somebody owns themselves.
    """
    hold(series_rows(subject.series_id, How.TO_CHANGE))
    hold_places(places)
    ownerships = tuple(sorted(owners, key=lambda ownership: ownership.from_position))
    _refuse_impossible(subject, ownerships)
    before = owned(subject)
    if ownerships == before:
        return False
    now, rows = timezone.now(), Ownership.objects.filter(subject=subject)
    for gone in set(before) - set(ownerships):
        rows.standing().filter(from_position=gone.from_position).update(withdrawn_at=now)
    Ownership.objects.bulk_create(
        Ownership(
            subject=subject, owner_id=ownership.owner, from_position=ownership.from_position,
            to_position=ownership.to_position, said_by=by, said_at=now,
        )
        for ownership in ownerships
        if ownership not in set(before)
    )  # fmt: skip
    record_of(ActivityKind.CHANGED, subject, by)
    return True


def _refuse_impossible(subject: Subject, ownerships: tuple[Owned, ...]) -> None:
    for ownership in ownerships:
        if ownership.owner == subject.pk:
            raise Refused(f"{subject} cannot belong to itself.")
        if ownership.to_position is not None and ownership.to_position <= ownership.from_position:
            raise Refused("It cannot be somebody’s up to an issue before the one it is theirs from.")
    for ownership, following in pairwise(ownerships):
        if ownership.to_position is None or ownership.to_position > following.from_position:
            raise Refused("It belongs to two at once in these issues: say each issue once.")
    known = set(Subject.objects.filter(series=subject.series_id).values_list("pk", flat=True))
    if any(ownership.owner not in known for ownership in ownerships):
        raise Refused("An owner must be a subject of this series.")
