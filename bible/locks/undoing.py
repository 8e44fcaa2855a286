"""Undoing a decision about locks: what it withdrew stands again as it was, what it locked is withdrawn.

A decision is known by its moment: everything that it withdrew and locked was written with the same time. Where many
codes were decided in one moment (a table, a whole past), each of them is undone by itself, with what follows it by
rule, or all of them together. Nothing is deleted; what was undone stays in the history, with who undid it and why.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from bible import signals
from bible.locks.services import copy_of, follow_base, withdraw
from bible.models import BASE_CHANGED, ActivityKind, Lock, Part, record
from bible.models.naming import name_of
from bible.models.roles import BASE_ROLE
from bible.series.holding import hold_to_decide
from bible.series.refusals import Refused

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterable

    from django.contrib.auth.models import User

    from bible.models import LockQuerySet, Series


@dataclass(frozen=True, slots=True)
class Decided:
    """A decision: the rows that it withdrew, and those of the rows it made that stand.

    ``later``: rows that it made and that somebody has decided on since. ``kept``: how many codes of a decision about
    many are left out for that.
    """

    at: dt.datetime
    withdrawn: tuple[Lock, ...]
    standing: tuple[Lock, ...]
    later: tuple[Lock, ...]
    kept: int = 0

    @property
    def codes(self) -> int:
        """How many parts' roles it was about, without those that are left out."""
        return len({(lock.part_id, lock.role) for lock in (*self.withdrawn, *self.standing, *self.later)})

    @property
    def parts(self) -> set[int]:
        return {lock.part_id for lock in (*self.withdrawn, *self.standing, *self.later)}

    @property
    def named(self) -> Lock:
        """The row to name it by: what was decided before what followed from it."""
        rows = [*self.standing, *self.withdrawn, *self.later]
        return next((row for row in rows if row.decided_at == self.at), rows[0])

    @property
    def followed(self) -> bool:
        """Whether nobody decided this: locks by rule were worked out anew."""
        return all(row.withdrawn_reason == BASE_CHANGED for row in self.withdrawn) and not any(
            row.decided_at == self.at for row in (*self.standing, *self.later)
        )


def decision_of(lock: Lock, *, together: bool = False) -> Decided:
    """The newest decision about a lock: the one that withdrew it, else the one that made it.

    Args:
        together: with everything that was decided in the same moment, as far as nobody has decided on it since; else
            only what was decided for this part and role, with what follows from that by rule.
    """
    at = lock.withdrawn_at or _made_at(lock)
    rows = _rows(Lock.every_printing.filter(series=lock.series_id))
    if not together:
        rows = rows.filter(part=lock.part_id)
    made, withdrawn = _made_and_withdrawn(rows, at)
    if not together:
        asked = next((_question(row, at) for row in (*made, *withdrawn) if row.pk in _line(lock)), None)
        made, withdrawn = ([row for row in some if _question(row, at) == asked] for some in (made, withdrawn))
    now = [(row, _stand_in(row)) for row in made]
    later = {_question(row, at) for row, stands in now if not stands}
    free = {_question(row, at) for row in (*made, *withdrawn)} - later
    left_out = later if together and free else set()
    return Decided(
        at=at,
        withdrawn=tuple(row for row in withdrawn if _question(row, at) not in left_out),
        standing=tuple(stands for row, stands in now if stands and _question(row, at) not in left_out),
        later=tuple(row for row, stands in now if not stands and _question(row, at) not in left_out),
        kept=len(left_out),
    )


def decision_at(series_id: int, at: dt.datetime) -> Decided:
    """Everything that was decided in a series in one moment, with what somebody has decided on since."""
    made, withdrawn = _made_and_withdrawn(_rows(Lock.every_printing.filter(series=series_id)), at)
    now = [(row, _stand_in(row)) for row in made]
    return Decided(
        at=at,
        withdrawn=tuple(withdrawn),
        standing=tuple(stands for _, stands in now if stands),
        later=tuple(row for row, stands in now if not stands),
    )


def _made_and_withdrawn(rows: LockQuerySet, at: dt.datetime) -> tuple[list[Lock], list[Lock]]:
    made = list(rows.filter(restored=False, follows=None, decided_at=at))
    made += rows.filter(restored=False, follows__withdrawn_at=at)
    return made, list(rows.filter(withdrawn_at=at))


def _question(row: Lock, at: dt.datetime) -> tuple[int, str]:
    """What was decided in a moment when a row was withdrawn or made: a part and a role; what followed by rule belongs
    to the base that it followed."""
    before = row if row.withdrawn_at == at else row.follows
    followed = before and before.withdrawn_at == at and before.withdrawn_reason == BASE_CHANGED
    return (row.part_id, BASE_ROLE if followed else row.role)


def _line(lock: Lock) -> set[int]:
    """A row and those that it stands again for."""
    keys = {lock.pk}
    while lock.restored and lock.follows:
        lock = lock.follows
        keys.add(lock.pk)
    return keys


def _rows(locks: LockQuerySet) -> LockQuerySet:
    whole = locks.with_people().select_related("part__costume__subject__series", "follows", "edition")
    return whole.order_by("part", "pk")


def _made_at(lock: Lock) -> dt.datetime:
    """When the row was written, for the first time where it stands again."""
    while lock.restored and lock.follows:
        lock = lock.follows
    return (lock.follows.withdrawn_at if lock.follows else None) or lock.decided_at


def _stand_in(lock: Lock) -> Lock | None:
    """The row itself while it stands, else the one that stands again for it."""
    row: Lock | None = lock
    while row and row.withdrawn_at:
        row = _rows(Lock.every_printing.filter(follows=row, restored=True)).first()
    return row


def why_not_undone(decided: Decided, seen: dt.datetime | None = None) -> str:
    """Why a decision cannot be undone now; empty where it can.

    Args:
        seen: the moment of the decision that the person looked at.
    """
    if seen is not None and seen != decided.at:
        return "Somebody has decided here meanwhile. Look at it again; nothing is undone."
    withdrawn = {row.pk for row in decided.withdrawn}
    stands_again = Lock.every_printing.filter(restored=True, follows__in=withdrawn)
    if withdrawn and withdrawn == set(stands_again.values_list("follows", flat=True)):
        return "This decision has been undone already."
    if decided.followed:
        return "This followed by rule from what it is derived from: undo what was decided there."
    if decided.later:
        row = decided.later[0]
        return (
            f"{name_of(row.withdrawn_by)} has decided about {row.part.full_name} after that"
            f" ({row.withdrawn_reason or 'no reason given'}). Undo the later decision first."
        )
    own = {lock.pk for lock in decided.standing}
    for lock in decided.withdrawn:
        there = Lock.every_printing.of_edition(lock.edition_id).of(lock.part_id, lock.role)
        there = there.overlapping(lock.from_position, lock.to_position)
        if other := there.exclude(pk__in=own).with_people().first():
            return (
                f"{name_of(other.decided_by)} has locked {other.written} for {lock.part.full_name} in these issues"
                f" ({other.reason or 'no reason given'}), so {lock.written} cannot stand there again."
            )
    return ""


@transaction.atomic
def undo_decision(
    *, lock: Lock, by: User, reason: str = "", seen: dt.datetime | None = None, together: bool = False
) -> Decided:
    """Undo the newest decision about a lock. What it withdrew stands again with its own reasons, deciders and dates.

    Args:
        together: with all that was decided in the same moment (``decision_of``).
        seen: the moment of the decision that the person looked at.

    Raises:
        Refused: it has been undone, something newer stands on it, or it was no decision but followed from one.
    """
    hold_to_decide(lock.series_id, decision_of(lock, together=together).parts)
    decided = decision_of(_rows(Lock.every_printing.all()).get(pk=lock.pk), together=together)
    _undo(decided, by, reason, seen)
    return decided


@transaction.atomic
def undo_moments(*, series: Series, moments: Iterable[dt.datetime], by: User, reason: str = "") -> list[Decided]:
    """Undo all that was decided in some moments, the newest first, or nothing at all.

    Raises:
        Refused: somebody has decided on some of it since.
    """
    moments = sorted(moments, reverse=True)
    hold_to_decide(series.pk, {part for at in moments for part in decision_at(series.pk, at).parts})
    undone = []
    for at in moments:
        decided = decision_at(series.pk, at)  # only now: what was decided after it is undone
        if decided.codes:
            _undo(decided, by, reason)
            undone.append(decided)
    return undone


def _undo(decided: Decided, by: User, reason: str, seen: dt.datetime | None = None) -> None:
    if refusal := why_not_undone(decided, seen):
        raise Refused(refusal)
    now, why = timezone.now(), reason.strip() or "undone"
    for row in decided.standing:
        withdraw(row, by, why, now)
    for row in decided.withdrawn:
        copy_of(row, follows=row, restored=True)
    parts = {row.part_id: row.part for row in (*decided.withdrawn, *decided.standing)}
    for part_id, part in parts.items():
        bases = [row for row in (*decided.withdrawn, *decided.standing) if row.part_id == part_id]
        if any(row.role == BASE_ROLE for row in bases):
            edition = bases[0].edition if all(row.edition_id for row in bases) else None
            follow_base(part, min(row.from_position for row in bases), None, by, now, edition)
    _tell(decided, list(parts.values()), by, reason, now)


def _tell(decided: Decided, parts: list[Part], by: User, reason: str, now: dt.datetime) -> None:
    named = decided.named
    series, subject = named.part.costume.subject.series, named.part.costume.subject
    words = {"reason": reason.strip(), "name": named.written, "edition": str(named.edition or "")}
    count = len({(row.part_id, row.role) for row in (*decided.standing, *decided.withdrawn)})
    record(ActivityKind.UNDONE, series=series, by=by, lock=named, subject=subject, count=count, words=words)
    why = f"decision of {decided.at:%-d %b %Y} about {named.part.full_name} undone"
    moved = {row.part_id for row in (*decided.standing, *decided.withdrawn) if row.edition_id is None}
    part_ids = sorted(part.pk for part in parts if part.pk in moved)
    if not part_ids:
        return
    moments = {"at": now, "undone": decided.at}
    signals.expectation_changed.send(sender=Lock, series=series, part_ids=part_ids, by=by, why=why, **moments)
