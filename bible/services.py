"""Writes to the bible that touch several rows: keyword-only, atomic, and the only way in for views and commands."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from django.db import transaction
from django.db.models import Max
from django.utils import timezone

from bible import signals
from bible.colour.notation import Notation
from bible.colour.tints import Tint
from bible.models import Costume, Issue, Lock, Membership, Part, Series
from bible.models.series import POSITION_GAP

if TYPE_CHECKING:
    from django.contrib.auth.models import User

    from bible.models.locks import LockQuerySet

LAST_POSITION = 2**31 - 1
"""The largest running-order position either database can hold."""


class Refused(Exception):
    """A write that may not be done as asked; the message says why, for the person who asked."""


class StaleDecision(Refused):
    """Somebody else decided the same thing meanwhile; ``newest`` is that decision."""

    def __init__(self, newest: Lock) -> None:
        self.newest = newest
        super().__init__(
            f"{newest.decided_by} locked {newest.written} here meanwhile"
            f" ({newest.reason or 'no reason given'}). Look at it, then save again if yours should still hold."
        )


@transaction.atomic
def start_series(*, series: Series, lead: User) -> Series:
    """Save a new series with its first lead colourist, without whom nobody could open it."""
    series.save(force_insert=True)
    Membership.objects.create(series=series, user=lead, role=Membership.Role.LEAD)
    return series


@transaction.atomic
def add_issue(
    *,
    series: Series,
    number: str,
    title: str = "",
    published: dt.date | None = None,
    after: Issue | None = None,
) -> Issue:
    """Add an issue at the end of the running order, or right after another one."""
    Series.objects.select_for_update().get(pk=series.pk)
    position = _free_position(series, after)
    return Issue.objects.create(series=series, number=number, position=position, title=title, published=published)


def _free_position(series: Series, after: Issue | None, moving: Issue | None = None) -> int:
    """A position behind ``after`` (or at the very end), leaving room on both sides."""
    others = series.issues.exclude(pk=moving.pk) if moving else series.issues.all()
    if after is None:
        last = others.aggregate(last=Max("position"))["last"] or 0
        if last + POSITION_GAP <= LAST_POSITION:
            return last + POSITION_GAP
        raise Refused("The running order is full: no issue fits behind the last one.")
    following = others.filter(position__gt=after.position).in_order().first()
    if following is None:
        return _free_position(series, None, moving)
    middle = (after.position + following.position) // 2
    if middle == after.position:
        raise Refused(f"There is no room left between issue {after.number} and issue {following.number}.")
    return middle


@transaction.atomic
def move_issue(*, issue: Issue, after: Issue | None) -> None:
    """Put an issue behind another one in the running order, or first; its marks are resolved anew."""
    Series.objects.select_for_update().get(pk=issue.series_id)
    if after is None:
        first = issue.series.issues.exclude(pk=issue.pk).in_order().first()
        if first is None:
            return
        if first.position < 2:
            raise Refused(f"There is no room left before issue {first.number}.")
        issue.position = first.position // 2
    else:
        issue.position = _free_position(issue.series, after, moving=issue)
    issue.save(update_fields=["position"])
    signals.issue_moved.send(sender=Issue, issue=issue)


def last_decision(part: Part, role: str) -> int:
    """The newest lock of a part and role, as a number to be shown and handed back: has anything moved meanwhile?"""
    return Lock.objects.of(part.pk, role).aggregate(last=Max("pk"))["last"] or 0


@transaction.atomic
def lock_tint(
    *,
    part: Part,
    role: str,
    tint: Tint,
    written: str,
    from_position: int,
    to_position: int | None = None,
    by: User,
    reason: str = "",
    seen: int | None = None,
) -> Lock:
    """Lock a part's role to a tint from a position on, superseding what held there.

    Without ``to_position`` the lock holds until the next change already decided, or onwards: a later decision is
    never undone by an earlier issue's. With it, it replaces whatever held in between.

    Args:
        seen: ``last_decision`` when the person looked; ``StaleDecision`` if there is a newer one now.
    """
    _hold(part)
    _refuse_stale(part, role, seen)
    locks = Lock.objects.of(part.pk, role)
    if to_position is None:
        later = locks.standing().filter(from_position__gt=from_position).order_by("from_position").first()
        to_position = later.from_position if later else None
    elif to_position <= from_position:
        raise Refused("A lock must end after the issue it begins with.")
    now = timezone.now()
    covered = _cut_out(locks, from_position, to_position, by, reason or f"superseded by {written}", now)
    lock = Lock.objects.create(
        series_id=part.costume.subject.series_id,
        part=part,
        role=role,
        tint=tint,
        written=written,
        from_position=from_position,
        to_position=to_position,
        reason=reason,
        decided_by=by,
        decided_at=now,
        follows=covered,
    )
    _tell([part])
    return lock


@transaction.atomic
def end_lock(*, lock: Lock, at_position: int, by: User, reason: str, seen: int | None = None) -> None:
    """Let a lock hold no longer from a position on; nothing takes its place."""
    _hold(lock.part)
    _refuse_stale(lock.part, lock.role, seen)
    lock.refresh_from_db()
    if lock.withdrawn_at:
        raise Refused("This lock does not hold any more.")
    if lock.to_position is not None and at_position >= lock.to_position:
        raise Refused("This lock ends before that issue anyway.")
    _cut_out(
        Lock.objects.filter(pk=lock.pk),
        max(at_position, lock.from_position),
        lock.to_position,
        by,
        reason,
        timezone.now(),
    )
    _tell([lock.part])


@transaction.atomic
def correct_lock(*, lock: Lock, tint: Tint, written: str, by: User, reason: str, seen: int | None = None) -> Lock:
    """Put right a lock that was entered wrongly: the same time, another tint. The mistake stays in the history."""
    if not reason.strip():
        raise Refused("A correction needs a reason: the history keeps both versions.")
    _hold(lock.part)
    _refuse_stale(lock.part, lock.role, seen)
    lock.refresh_from_db()
    if lock.withdrawn_at:
        raise Refused("This lock does not hold any more.")
    _withdraw(lock, by, reason, now := timezone.now())
    corrected = _copy(lock, follows=lock, tint=tint, written=written, reason=reason, decided_by=by, decided_at=now)
    _tell([lock.part])
    return corrected


@transaction.atomic
def set_costume_time(*, costume: Costume, from_position: int, to_position: int | None) -> None:
    """Say from which issue on, and up to which, a costume is worn."""
    costume.from_position, costume.to_position = from_position, to_position
    costume.save(update_fields=["from_position", "to_position"])
    _tell(list(costume.parts.all()), costume.subject.series)


@transaction.atomic
def change_reading(
    *, series: Series, notation: Notation, chart_kind: str, house_tints: list[Tint] | None = None
) -> None:
    """Change how codes read in a series. What was written stays as it is; it is read anew."""
    series = Series.objects.select_for_update().get(pk=series.pk)
    series.notation_data = notation.to_dict()
    series.chart_kind = chart_kind
    if house_tints is not None:
        series.chart_data = [tint.packed for tint in house_tints]
    series.save(update_fields=["notation_data", "chart_kind", "chart_data"])
    series.refresh_from_db()
    signals.reading_changed.send(sender=Series, series=series)


def _hold(part: Part) -> None:
    """Keep other deciders of this part waiting until this transaction ends."""
    Part.objects.select_for_update().get(pk=part.pk)


def _refuse_stale(part: Part, role: str, seen: int | None) -> None:
    if seen is not None and last_decision(part, role) != seen:
        newest = Lock.objects.of(part.pk, role).with_people().latest("pk")
        raise StaleDecision(newest)


def _cut_out(
    locks: LockQuerySet, start: int, end: int | None, by: User, reason: str, now: dt.datetime
) -> Lock | None:
    """Withdraw what stands between two positions; what is left before and after stands on as rows of its own.

    Returns the lock that held at ``start``, the one a new decision follows.
    """
    followed = None
    for lock in locks.overlapping(start, end):
        _withdraw(lock, by, reason, now)
        if lock.from_position <= start:
            followed = lock
        if lock.from_position < start:
            _copy(lock, follows=lock, to_position=start)
        if end is not None and (lock.to_position is None or lock.to_position > end):
            _copy(lock, follows=lock, from_position=end)
    return followed


def _withdraw(lock: Lock, by: User, reason: str, now: dt.datetime) -> None:
    lock.withdrawn_at, lock.withdrawn_by, lock.withdrawn_reason = now, by, reason
    lock.save(update_fields=["withdrawn_at", "withdrawn_by", "withdrawn_reason"])


def _copy(lock: Lock, **changes: object) -> Lock:
    kept = ("series_id", "part_id", "role", "tint", "written", "from_position", "to_position", "reason")
    people = {"decided_by": lock.decided_by, "decided_at": lock.decided_at}
    return Lock.objects.create(**{name: getattr(lock, name) for name in kept} | people | changes)


def _tell(parts: list[Part], series: Series | None = None) -> None:
    if parts:
        series = series or parts[0].costume.subject.series
        signals.expectation_changed.send(sender=Lock, series=series, part_ids=[part.pk for part in parts])
