"""What comes first on somebody's day: a lead answers, an editor signs off, a fill-in colourist colours."""

from __future__ import annotations

from dataclasses import dataclass, field

from bible.models import Membership, Proposal
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


def today(membership: Membership) -> Today:
    """The oldest proposals for a lead, the issues in check for an editor, one's own pages in work for a fill-in."""
    series = membership.series
    match membership.role:
        case Membership.Role.LEAD:
            waiting = series.proposals.waiting()
            first = list(waiting.with_names().order_by("id")[:SHOWN])
            more = waiting.count() - SHOWN if len(first) == SHOWN else 0
            return Today(proposals=first, more_proposals=more)
        case Membership.Role.EDITOR:
            in_check = series.issues.active().in_check().in_order()
            return Today(going_out=points(series, in_check[:SHOWN]) if in_check.exists() else [])
        case Membership.Role.FILL_IN:
            own = Guide.objects.filter(series=series).current().in_work().of_colourist(membership.user)
            return Today(pages=list(own.with_counts().newest_first()[:SHOWN]))
        case _:
            return Today()
