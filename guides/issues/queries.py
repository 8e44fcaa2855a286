"""What comes first on somebody's day: a lead answers, an editor signs off, a fill-in colourist colours."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

from bible.models import Issue, Membership, Proposal
from bible.models.permissions import Permission
from guides.assignments.queries import GivenPage, late_first, mine, waiting
from guides.found.queries import that_propose
from guides.models import Guide, IssueStep
from guides.signoff.queries import Points, opened_again, points

SHOWN = 6
"""More of a kind than this are no longer seen at a glance; the list they lead to has them all."""


@dataclass(frozen=True)
class Today:
    """The first things of one member; what belongs to other roles is empty.

    ``mine`` are one's own pages given and not done; ``pages`` one's other guides in work. ``late`` are everybody's
    pages, ``nobodys`` those whose colourist has left, for who gives pages. ``opened`` says for who signs which signed
    issues were opened again.
    """

    proposals: list[Proposal] = field(default_factory=list)
    more_proposals: int = 0
    going_out: list[Points] = field(default_factory=list)
    pages: list[Guide] = field(default_factory=list)
    proposing: list[Guide] = field(default_factory=list)
    mine: list[GivenPage] = field(default_factory=list)
    more_mine: int = 0
    late: list[GivenPage] = field(default_factory=list)
    more_late: int = 0
    nobodys: int = 0
    opened: list[IssueStep] = field(default_factory=list)

    @property
    def issues_to_read(self) -> list[Issue]:
        """The issues of one's own pages, each once."""
        return list({page.assignment.issue_id: page.assignment.issue for page in self.mine}.values())


def today(membership: Membership) -> Today:
    """The oldest proposals for who answers them, the issues in check for who signs them off, one's own pages in work
    for who marks: the first of these that one may do. For whoever marks also the pages that propose their codes, and
    those one was given; for who gives pages, which are late."""
    first = replace(_first(membership), **_given(membership))
    if membership.may(Permission.SIGN_OFF):
        first = replace(first, opened=opened_again(membership.series, SHOWN))
    if not membership.may(Permission.MARK):
        return first
    shown = {page.guide.pk for page in first.mine if page.guide}
    pages = [guide for guide in first.pages if guide.pk not in shown]
    return replace(first, pages=pages, proposing=list(that_propose(membership.series)[:SHOWN]))


def _first(membership: Membership) -> Today:
    series = membership.series
    if membership.may(Permission.LOCK):
        waiting_ones = series.proposals.waiting()
        first = list(waiting_ones.with_names().order_by("id")[:SHOWN])
        more = waiting_ones.count() - SHOWN if len(first) == SHOWN else 0
        return Today(proposals=first, more_proposals=more)
    if membership.may(Permission.SIGN_OFF):
        in_check = series.issues.active().in_check().in_order()
        return Today(going_out=points(series, in_check[:SHOWN]) if in_check.exists() else [])
    if membership.may(Permission.MARK):
        own = Guide.objects.filter(series=series).current().in_work().of_colourist(membership.user)
        return Today(pages=list(own.with_counts().newest_first()[:SHOWN]))
    return Today()


def _given(membership: Membership) -> dict[str, Any]:
    """What was given: one's own that is not done, and of everybody's what is late or nobody's any more."""
    if not membership.may(Permission.ASSIGN):
        own = mine(membership) if membership.may(Permission.MARK) else []
        return {"mine": own[:SHOWN], "more_mine": max(0, len(own) - SHOWN)}
    every = waiting(membership.series)
    own = late_first(page for page in every if page.is_held and page.assignment.colourist_id == membership.user_id)
    late = late_first(page for page in every if page.is_late)
    nobodys = sum(not page.is_held and not page.is_done for page in every)
    lists = {"mine": own, "late": late}
    cut = {name: rows[:SHOWN] for name, rows in lists.items()}
    return cut | {f"more_{name}": max(0, len(rows) - SHOWN) for name, rows in lists.items()} | {"nobodys": nobodys}
