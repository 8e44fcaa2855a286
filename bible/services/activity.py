"""Writing down what has happened, and up to where somebody has read it."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

from django.db import IntegrityError, transaction
from django.db.models import F
from django.utils import timezone

from bible.models import Activity, Deed, Membership, Room, Series
from bible.models.activity import BUNDLED

if TYPE_CHECKING:
    from django.contrib.auth.models import User

EXCERPT = 200
"""Letters of a reason or a note that a list of deeds repeats."""

VISIT = dt.timedelta(minutes=30)
"""Looks with less than this between them are one visit: loading the page again must not wipe the line that says
where the last visit ended."""

_ROOM_OF = {
    Room.LOCKS: (Deed.LOCKED, Deed.SUPERSEDED, Deed.CORRECTED, Deed.ENDED, Deed.SETTLED, Deed.UNDONE),
    Room.PROPOSALS: (Deed.PROPOSED, Deed.ACCEPTED, Deed.DECLINED, Deed.TOOK_BACK),
    Room.WAIVERS: (Deed.WAIVED, Deed.WAIVER_BACK),
    Room.NOTES: (Deed.NOTED,),
    Room.GUIDES: (Deed.UPLOADED, Deed.REVISED),
    Room.MARKS: BUNDLED,
    Room.SCENES: (Deed.SCENE_MADE, Deed.SCENE_CHANGED, Deed.SCENE_APPLIED, Deed.SCENE_REMOVED),
    Room.ISSUES: (
        Deed.MOVED,
        Deed.PUT_IN_CHECK,
        Deed.OUT_OF_CHECK,
        Deed.SIGNED_OFF,
        Deed.REOPENED,
        Deed.STANDS_AGAIN,
    ),
    Room.PEOPLE: (Deed.INVITED, Deed.JOINED, Deed.ROLE_CHANGED, Deed.LEFT),
    Room.SETTINGS: (Deed.STARTED, Deed.READING_CHANGED, Deed.PRESS_CHOSEN),
}
ROOMS = {deed: room for room, deeds in _ROOM_OF.items() for deed in deeds}
"""The room a deed belongs to; adding, changing, archiving and deleting go with what they are done to."""


def record(
    deed: Deed,
    *,
    series: Series | int,
    by: User | None,
    room: Room | None = None,
    count: int = 1,
    words: dict[str, str] | None = None,
    **about: Any,
) -> None:
    """Write a deed down, in the transaction that does it.

    Args:
        by: who did it; None where no person did.
        room: needed for deeds that say nothing of what they are about (``Deed.ADDED``, …).
        count: how many at once.
        words: plain texts that a sentence needs: names, reasons, notes. Long ones are cut.
        about: ``subject``, ``issue``, ``scene``, ``lock``, ``proposal``, ``person``, ``page``, ``mark_number``.
    """
    now = timezone.now()
    about["series_id"] = series if isinstance(series, int) else series.pk
    if about.get("person") == by:
        about.pop("person", None)
    fresh = Activity(
        room=room or ROOMS[deed],
        kind=deed,
        by=by,
        at=now,
        day=now.date(),
        count=count,
        words={name: text[:EXCERPT] for name, text in (words or {}).items() if text},
        **about,
    )
    if deed not in BUNDLED:
        fresh.save(force_insert=True)
    elif not _add_to_bundle(fresh):
        _begin_bundle(fresh)


def _add_to_bundle(fresh: Activity) -> bool:
    same = {name: getattr(fresh, name) for name in ("series_id", "kind", "by", "issue", "page", "day")}
    return bool(Activity.objects.filter(**same).update(count=F("count") + fresh.count, at=fresh.at))


def _begin_bundle(fresh: Activity) -> None:
    """The first of a day; somebody's second window may begin it at the same moment, then theirs is added to."""
    try:
        with transaction.atomic():
            fresh.save(force_insert=True)
    except IntegrityError:
        if not _add_to_bundle(fresh):
            raise


def has_news(membership: Membership) -> bool:
    """Whether somebody else has done something that this member has not looked at yet. One query."""
    others = Activity.objects.visible_to(membership).exclude(by=membership.user_id)
    return (others.since(membership.looked_at) if membership.looked_at else others).exists()


def look(membership: Membership) -> dt.datetime | None:
    """Note that a member looks at what has happened now. Returns up to when they had looked on their last visit, or
    None if this is the first."""
    now = timezone.now()
    if membership.looked_at is None or now - membership.looked_at > VISIT:
        membership.seen_until = membership.looked_at
    membership.looked_at = now
    membership.save(update_fields=["looked_at", "seen_until"])
    return membership.seen_until
