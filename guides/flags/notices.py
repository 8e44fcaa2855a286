"""Flags on one's own pages, for the word that goes to people."""

from __future__ import annotations

from django.db.models import F, Q

from bible.models import Membership
from bible.models.permissions import Permission
from bible.notices.queries import OwnFlag
from guides.models import Mark

MOST = 500
"""Of one person's pages in work; more are told as soon as some of these are gone."""


def own_flags(membership: Membership) -> list[OwnFlag]:
    """Open flags on this member's pages of issues in work that others have caused: by the bible, or by the mark."""
    if not membership.may(Permission.MARK):
        return []
    series = membership.series
    rows = Mark.objects.filter(series=series, guide__colourist=membership.user_id, guide__issue__signed_off_at=None)
    own = Q(changed_by=membership.user_id)
    by_the_bible = Q(lock__decided_at__gt=F("changed_at")) & ~Q(lock__decided_by=membership.user_id)
    flagged = rows.filter(~own | by_the_bible).open().in_order().with_names()[:MOST]
    return [
        OwnFlag(
            mark.pk,
            f"Issue {mark.guide.issue.number}, {mark.guide}, mark {mark.number}: {mark.part and mark.part.full_name},"
            f" {mark.flag_kind.label if mark.flag_kind else 'flagged'}, written {mark.written}.",
            mark.get_absolute_url(),
        )
        for mark in flagged
    ]
