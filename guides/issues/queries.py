"""What comes first on somebody's day: a lead answers, an editor signs off, a fill-in colourist colours."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from bible.models import Membership, Proposal
from bible.models.permissions import Permission
from guides.found.queries import that_propose
from guides.models import Guide
from guides.signoff.queries import Points, points

SHOWN = 6
"""More of a kind than this are no longer seen at a glance; the list they lead to has them all."""


@dataclass(frozen=True)
class Today:
    """The first things of one member; what belongs to other roles is empty."""

    proposals: list[Proposal] = field(default_factory=list)
    more_proposals: int = 0
    going_out: list[Points] = field(default_factory=list)
    pages: list[Guide] = field(default_factory=list)
    proposing: list[Guide] = field(default_factory=list)


def today(membership: Membership) -> Today:
    """The oldest proposals for who answers them, the issues in check for who signs them off, one's own pages in work
    for who marks: the first of these that one may do. For whoever marks also the pages that propose their codes."""
    first = _first(membership)
    if not membership.may(Permission.MARK):
        return first
    return replace(first, proposing=list(that_propose(membership.series)[:SHOWN]))


def _first(membership: Membership) -> Today:
    series = membership.series
    if membership.may(Permission.LOCK):
        waiting = series.proposals.waiting()
        first = list(waiting.with_names().order_by("id")[:SHOWN])
        more = waiting.count() - SHOWN if len(first) == SHOWN else 0
        return Today(proposals=first, more_proposals=more)
    if membership.may(Permission.SIGN_OFF):
        in_check = series.issues.active().in_check().in_order()
        return Today(going_out=points(series, in_check[:SHOWN]) if in_check.exists() else [])
    if membership.may(Permission.MARK):
        own = Guide.objects.filter(series=series).current().in_work().of_colourist(membership.user)
        return Today(pages=list(own.with_counts().newest_first()[:SHOWN]))
    return Today()
