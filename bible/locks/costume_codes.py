"""A whole costume locked at once: one decision, known by its moment, so that it is shown and undone as one.

All rows of a table carry one moment, so undoing knows them together; only what differs from what holds at its first
issue is locked, and an empty cell leaves what holds.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, NamedTuple

from django.db import transaction
from django.utils import timezone

from bible import signals
from bible.colour.gradients import TintOrGradient
from bible.locks.services import LockToBe, StaleDecision, decide
from bible.locks.stretches import first_position
from bible.models import ActivityKind, Costume, Lock, Part, record
from bible.series.edits import add
from bible.series.holding import hold_to_decide, refuse_archived_parts
from bible.series.refusals import Refused
from bible.web.names import counted

if TYPE_CHECKING:
    from django.contrib.auth.models import User


class CodeToBe(NamedTuple):
    """What a part, given by its name, is to carry in a role."""

    part: str
    role: str
    tint: TintOrGradient
    written: str


def newest_decision(costume: Costume) -> int:
    """The newest lock of a costume, as a number to be shown and handed back."""
    newest = Lock.objects.filter(part__costume=costume).order_by("-pk").values_list("pk", flat=True).first()
    return newest or 0


@transaction.atomic
def lock_costume(
    *,
    costume: Costume,
    names: Sequence[str],
    codes: Sequence[CodeToBe],
    from_position: int,
    to_position: int | None,
    by: User,
    reason: str = "",
    seen: int | None = None,
) -> list[Lock]:
    """Lock what differs from what holds at ``from_position``; parts of new names are added, in their order.

    A role that ``codes`` does not name is left as it is. Returns the locks that were made.

    Raises:
        StaleDecision: somebody decided on this costume after ``seen``.
        Refused: nothing would change, or a part that is named or the costume is archived; nothing is saved then.
    """
    asked = {name.casefold() for name in names}
    parts = {
        part.name.casefold(): part
        for part in costume.parts.all()
        if part.archived_at is None or part.name.casefold() in asked
    }
    hold_to_decide(costume.subject.series_id, [part.pk for part in parts.values()])
    if seen is not None and newest_decision(costume) != seen:
        raise StaleDecision(Lock.objects.with_people().get(pk=newest_decision(costume)))
    fresh = [name for name in names if name.casefold() not in parts]
    for name in fresh:
        part = parts[name.casefold()] = Part(costume=costume, name=name, rank=costume.parts.count())
        add(row=part, by=by)
    refuse_archived_parts(part.pk for part in parts.values())
    when = (from_position, to_position, reason)
    locks = _decide_what_differs(costume, parts, codes, when, by)
    if not locks and not fresh:
        raise Refused("Nothing is changed: every code is locked like this already.")
    if locks:
        _tell(costume, locks, by=by, reason=reason)
    return locks


def _decide_what_differs(
    costume: Costume,
    parts: dict[str, Part],
    codes: Sequence[CodeToBe],
    when: tuple[int, int | None, str],
    by: User,
) -> list[Lock]:
    """Bases first: a shade that follows its base by a rule, and says what that makes of it, is as it should be.
    ``when``: from position, to position, and why."""
    series, now = costume.subject.series, timezone.now()
    position = max(when[0], first_position(series.pk))
    standing = Lock.objects.in_force(position).by_part([part.pk for part in parts.values()], series.roles)
    locks = []
    for code in sorted(codes, key=lambda code: series.roles.rank(code.role)):
        part = parts[code.part.casefold()]
        part.costume = costume
        if any(lock.role == code.role and lock.locked == code.tint for lock in standing[part.pk]):
            continue
        decision = LockToBe(part.pk, code.role, code.tint, code.written, *when)
        locks.append(decide(part, decision, by, now))
    return locks


def _tell(costume: Costume, locks: list[Lock], *, by: User, reason: str) -> None:
    subject, at = costume.subject, locks[0].decided_at
    words = {"reason": reason}
    first, deed = locks[0], ActivityKind.SETTLED
    record(deed, series=subject.series, by=by, subject=subject, lock=first, count=len(locks), words=words)
    why = f"{counted(len(locks), 'code')} of {subject.name}, {costume.name} locked"
    parts = sorted({lock.part_id for lock in locks})
    signals.expectation_changed.send(sender=Lock, series=subject.series, part_ids=parts, by=by, why=why, at=at)
