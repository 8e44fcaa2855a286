"""Word on its way to one member."""

from __future__ import annotations

import datetime as dt

from django.utils import timezone

from bible.models import Membership, NoticeChoice
from bible.notices.letters import letter
from bible.notices.queries import new_flags, news

LOOK_BACK = dt.timedelta(days=7)
"""Somebody who has never been told is told of a week, not of years."""


def send_word(*, membership: Membership) -> bool:
    """Tell a member what is new to them, whatever they have chosen; False where nothing is.

    Nothing is held while the letter is on its way. Who dies between it and the note that it was sent, sends it again.
    """
    series, now = membership.series, timezone.now()
    choice, _ = NoticeChoice.objects.get_or_create(user=membership.user, series=series)
    since = max(choice.told_until or now - LOOK_BACK, membership.joined_at)
    deeds, (flags, keys) = news(membership, since), new_flags(membership, choice.told_flags)
    if deeds or flags:
        letter(membership, deeds, flags).send()
    NoticeChoice.objects.filter(pk=choice.pk).update(told_until=now, told_flags=keys)
    return bool(deeds or flags)
