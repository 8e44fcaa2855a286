"""Locks: deciding, superseding, ending, correcting. A rule's locks follow their base."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from typing import TYPE_CHECKING, Any, NamedTuple

from django.db import transaction
from django.db.models import Max
from django.utils import timezone

from bible import signals
from bible.colour.gradients import TintOrGradient
from bible.colour.shifts import Shift
from bible.locks.stretches import Piece, first_position, rule_pieces, span, why_no_role
from bible.models import BASE_CHANGED, ActivityKind, Lock, Part, Series, columns_of, record
from bible.models.naming import name_of
from bible.models.roles import BASE_ROLE
from bible.series.holding import hold_to_decide, hold_to_lock
from bible.series.refusals import Refused

if TYPE_CHECKING:
    from django.contrib.auth.models import User

    from bible.models import Edition, LockQuerySet


class LockToBe(NamedTuple):
    """A lock to be, for a part's role over a stretch of positions."""

    part_id: int
    role: str
    tint: TintOrGradient
    written: str
    from_position: int
    to_position: int | None
    reason: str
    edition: Edition | None = None


def last_decision(part: Part, role: str, edition: Edition | None = None) -> int:
    """The newest lock of a part and role, as a number to be shown and handed back: has anything moved meanwhile?"""
    decided = Lock.every_printing.of_edition(edition).of(part.pk, role)
    return decided.aggregate(last=Max("pk"))["last"] or 0


def last_decisions(part: Part, edition: Edition | None = None) -> dict[str, int]:
    """``last_decision`` of every role of a part that anything has ever been locked for."""
    decided = Lock.every_printing.of_edition(edition).filter(part=part)
    return dict(decided.order_by().values_list("role").annotate(last=Max("pk")))


@transaction.atomic
def lock_tint(
    *,
    part: Part,
    role: str,
    tint: TintOrGradient,
    written: str,
    from_position: int,
    to_position: int | None = None,
    by: User,
    reason: str = "",
    seen: int | None = None,
    edition: Edition | None = None,
) -> Lock:
    """Lock a part's role to a tint from a position on, superseding what held there.

    Without ``to_position`` the lock holds until the next change already decided, or onwards: a later decision is
    never undone by an earlier issue's. With it, it replaces whatever held in between.

    Args:
        seen: ``last_decision`` when the person looked; ``StaleDecision`` if there is a newer one now.
        edition: the one in which it holds; none: the first printing, and what falls back to it.
    """
    _hold(part, hold_to_lock)
    _refuse_role(part, role)
    _refuse_stale(part, role, seen, edition)
    decision = LockToBe(part.pk, role, tint, written, from_position, to_position, reason, edition)
    lock = decide(part, decision, by, timezone.now())
    _tell_of(lock, by)
    return lock


def decide(part: Part, decision: LockToBe, by: User, now: dt.datetime) -> Lock:
    """The row of a decision about a part that is held; what holds there is superseded and what follows a base by rule
    is worked out anew. Nobody is told: who decides about several parts does that once."""
    _, role, tint, written, start, end, reason, edition = decision
    start, end = span(part, role, start, end, edition)
    fields = {"written": written, "reason": reason, "edition": edition}
    return _stand(part, role, (start, end), [(start, end, tint)], by, now, **fields)[0]


@transaction.atomic
def lock_rule(
    *,
    part: Part,
    role: str,
    rule: Shift,
    from_position: int,
    to_position: int | None = None,
    by: User,
    reason: str = "",
    seen: int | None = None,
    edition: Edition | None = None,
) -> list[Lock]:
    """Lock another role by a rule on its base: one row for each stretch of the base, first to last.

    The rule holds where there is a base; where the base ends, it ends with it. When the base changes later, so do
    these rows. In an edition the base is its own where it has one, else the first printing's.
    """
    if role == BASE_ROLE:
        raise Refused("The base is a code of its own; other roles may follow from it by a rule.")
    if not rule:
        raise Refused("A rule that changes nothing is no rule: say what happens to which ink.")
    _hold(part, hold_to_lock)
    _refuse_role(part, role)
    _refuse_stale(part, role, seen, edition)
    stretch = span(part, role, from_position, to_position, edition)
    pieces = rule_pieces(part, rule, *stretch, edition)
    if not pieces:
        raise Refused("No base is locked in these issues, so a rule has nothing to follow: lock the base first.")
    fields = {"written": str(rule), "rule_data": rule.to_data(), "reason": reason, "edition": edition}
    locked = _stand(part, role, stretch, pieces, by, timezone.now(), **fields)
    _tell_of(locked[0], by)
    return locked


def _refuse_role(part: Part, role: str) -> None:
    if why := why_no_role(part.costume.subject.series, part, role):
        raise Refused(why)


def _stand(
    part: Part,
    role: str,
    stretch: tuple[int, int | None],
    pieces: list[Piece],
    by: User,
    now: dt.datetime,
    **fields: Any,
) -> list[Lock]:
    """Let these pieces stand in a stretch, as one decision, whatever stood there. ``fields``: what their rows say."""
    why = fields["reason"] or f"superseded by {fields['written']}"
    there = Lock.every_printing.of_edition(fields["edition"]).of(part.pk, role)
    fields["follows"] = _cut_out(there, *stretch, by, why, now)
    fields |= {"part": part, "series_id": part.costume.subject.series_id, "role": role}
    fields |= {"decided_by": by, "decided_at": now}
    locked = [
        Lock.objects.create(from_position=start, to_position=end, **columns_of(tint), **fields)
        for start, end, tint in pieces
    ]
    if role == BASE_ROLE:
        follow_base(part, *stretch, by, now, fields["edition"])
    return locked


def _tell_of(lock: Lock, by: User) -> None:
    """Keep who decided, and tell whoever listens, of a decision about one part."""
    _record(ActivityKind.SUPERSEDED if lock.follows_id else ActivityKind.LOCKED, lock, by, lock.reason)
    _tell_of_part(lock, by=by, at=lock.decided_at, why=f"{lock.written} locked for {lock.part.full_name}")


@transaction.atomic
def end_lock(*, lock: Lock, at_position: int, by: User, reason: str, seen: int | None = None) -> None:
    """Let a lock hold no longer from a position on; nothing takes its place."""
    _hold(lock.part)
    _refuse_stale(lock.part, lock.role, seen, lock.edition)
    _refresh(lock)
    if lock.withdrawn_at:
        raise Refused("This lock does not hold any more.")
    if lock.to_position is not None and at_position >= lock.to_position:
        raise Refused("This lock ends before that issue anyway.")
    _cut_out(
        Lock.every_printing.filter(pk=lock.pk),
        max(at_position, lock.from_position),
        lock.to_position,
        by,
        reason,
        now := timezone.now(),
    )
    if lock.role == BASE_ROLE:
        follow_base(lock.part, lock.from_position, lock.to_position, by, now, lock.edition)
    ends = lock.series.issues.filter(position=at_position).first()
    _record(ActivityKind.ENDED, lock, by, reason, issue=ends)
    _tell_of_part(lock, by=by, at=now, why=f"{lock.written} ended for {lock.part.full_name}")


@transaction.atomic
def correct_lock(
    *, lock: Lock, tint: TintOrGradient, written: str, by: User, reason: str, seen: int | None = None
) -> Lock:
    """Put right a lock that was entered wrongly: the same time, another tint. The mistake stays in the history."""
    if not reason.strip():
        raise Refused("A correction needs a reason: the history keeps both versions.")
    _hold(lock.part)
    _refuse_stale(lock.part, lock.role, seen, lock.edition)
    _refresh(lock)
    if lock.withdrawn_at:
        raise Refused("This lock does not hold any more.")
    withdraw(lock, by, reason, now := timezone.now())
    fields = columns_of(tint) | {"written": written, "rule_data": [], "reason": reason}
    corrected = copy_of(lock, follows=lock, decided_by=by, decided_at=now, **fields)
    if lock.role == BASE_ROLE:
        follow_base(lock.part, lock.from_position, lock.to_position, by, now, lock.edition)
    _record(ActivityKind.CORRECTED, corrected, by, reason)
    _tell_of_part(lock, by=by, at=now, why=f"{lock.written} corrected to {written} for {lock.part.full_name}")
    return corrected


def _record(deed: ActivityKind, lock: Lock, by: User, reason: str, **about: Any) -> None:
    subject = lock.part.costume.subject
    words = {"reason": reason, "edition": str(lock.edition or "")}
    record(deed, series=lock.series_id, by=by, lock=lock, subject=subject, words=words, **about)


def _hold(part: Part, hold: Callable[[int, list[int]], None] = hold_to_decide) -> None:
    """Keep others who decide or mark this part waiting until this transaction ends."""
    try:
        hold(part.costume.subject.series_id, [part.pk])
    except Refused as gone:
        if Part.objects.filter(pk=part.pk).exists():
            raise
        raise Refused(f"{part.name} has been deleted meanwhile, so nothing can be locked for it.") from gone


def _refresh(lock: Lock) -> None:
    """As it is now; an edition's own too, which the default manager does not know."""
    lock.refresh_from_db(from_queryset=Lock.every_printing.all())


def _refuse_stale(part: Part, role: str, seen: int | None, edition: Edition | None) -> None:
    if seen is None or last_decision(part, role, edition) == seen:
        return
    newest = Lock.every_printing.of_edition(edition).of(part.pk, role).with_people().order_by("pk").last()
    if newest is None:
        raise Refused("What was shown here is not there any more: look again.")
    raise StaleDecision(newest)


def follow_base(
    part: Part, start: int, end: int | None, by: User | None, now: dt.datetime, edition: Edition | None = None
) -> None:
    """Work out anew the locks that follow this part's base by a rule, where the base changed: those of an edition
    where its own did, those of every printing where the first printing's did."""
    following = Lock.every_printing.filter(part=part).exclude(role=BASE_ROLE).overlapping(start, end)
    if edition:
        following = following.of_edition(edition)
    for lock in following.select_related("decided_by", "edition"):
        if not lock.rule_data:
            continue
        pieces = rule_pieces(part, lock.rule, lock.from_position, lock.to_position, lock.edition)
        if pieces == [(lock.from_position, lock.to_position, lock.locked)]:
            continue
        withdraw(lock, by or lock.decided_by, BASE_CHANGED, now)
        for begins, ends, tint in pieces:
            copy_of(lock, follows=lock, from_position=begins, to_position=ends, **columns_of(tint))


@transaction.atomic(savepoint=False)
def follow_chart(*, series: Series, by: User | None) -> None:
    """Work out anew every lock that follows a rule, after the chart it moves along has changed."""
    locks = Lock.every_printing.filter(series=series).standing().exclude(role=BASE_ROLE).exclude(rule_data=[])
    hold_to_decide(series.pk, locks.values_list("part", flat=True))
    parts = Part.objects.filter(pk__in=locks.values("part")).select_related("costume__subject")
    now = timezone.now()
    for part in parts:
        part.costume.subject.series = series
        follow_base(part, 0, None, by, now)
    _tell(list(parts), series, by=by, why="locks by rule followed a change of the chart")


def _cut_out(
    locks: LockQuerySet, start: int, end: int | None, by: User, reason: str, now: dt.datetime
) -> Lock | None:
    """Withdraw what stands between two positions; what is left before and after stands on as rows of its own.

    Returns the lock that held at ``start``, the one a new decision follows.
    """
    followed = None
    for lock in locks.overlapping(start, end):
        withdraw(lock, by, reason, now)
        if lock.from_position <= start:
            followed = lock
        if lock.from_position < start and start > first_position(lock.series_id):
            copy_of(lock, follows=lock, to_position=start)
        if end is not None and (lock.to_position is None or lock.to_position > end):
            copy_of(lock, follows=lock, from_position=end)
    return followed


def withdraw(lock: Lock, by: User, reason: str, now: dt.datetime) -> None:
    """Let a lock hold no longer; for who decides (``bible.series.holding``)."""
    lock.withdrawn_at, lock.withdrawn_by, lock.withdrawn_reason = now, by, reason
    lock.save(update_fields=["withdrawn_at", "withdrawn_by", "withdrawn_reason"])


def copy_of(lock: Lock, **changes: object) -> Lock:
    """A lock as a row of its own, by whom, when and why it was decided."""
    fields = (
        "series_id", "part_id", "role", "edition_id", "tint", "to_tint", "direction", "written", "rule_data",
        "from_position", "to_position",
        "reason",
    )  # fmt: skip
    people = {"decided_by": lock.decided_by, "decided_at": lock.decided_at}
    return Lock.objects.create(**{name: getattr(lock, name) for name in fields} | people | changes)


def _tell_of_part(lock: Lock, *, by: User, why: str, at: dt.datetime) -> None:
    """Of a decision about one part. What holds in an edition alone moves no mark's expectation and no sign-off."""
    if lock.edition_id is None:
        _tell([lock.part], by=by, why=why, at=at)


def _tell(
    parts: list[Part], series: Series | None = None, *, by: User | None, why: str, at: dt.datetime | None = None
) -> None:
    if parts:
        series = series or parts[0].costume.subject.series
        part_ids = [part.pk for part in parts]
        signals.expectation_changed.send(sender=Lock, series=series, part_ids=part_ids, by=by, why=why, at=at)


class StaleDecision(Refused):
    """Somebody else decided the same thing meanwhile; ``newest`` is that decision."""

    def __init__(self, newest: Lock) -> None:
        self.newest = newest
        super().__init__(
            f"{name_of(newest.decided_by)} locked {newest.written} here meanwhile"
            f" ({newest.reason or 'no reason given'}). Look at it, then save again if yours should still hold."
        )
