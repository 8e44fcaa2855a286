"""Writing down what has happened, and up to where somebody has read it."""

from __future__ import annotations

import datetime as dt

from django.utils import timezone

from bible.models import Activity, Membership

VISIT = dt.timedelta(minutes=30)
"""Looks with less than this between them are one visit: loading the page again must not wipe the line that says
where the last visit ended."""


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
