"""What is news to whom, and each piece of it in one plain sentence with its address."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass

from django.db.models import Q
from django.urls import reverse

from bible.models import Activity, ActivityKind, Membership, NoticeChoice, Series
from bible.models.naming import name_of
from bible.models.permissions import Permission
from bible.web.addresses import whole
from bible.web.names import counted

ANSWERS = (ActivityKind.ACCEPTED, ActivityKind.DECLINED)
PAGES = (ActivityKind.PAGES_GIVEN, ActivityKind.PAGES_CHANGED, ActivityKind.PAGES_BACK)
TO_SIGN = (ActivityKind.PUT_IN_CHECK, ActivityKind.REOPENED)

TOLD = (ActivityKind.PROPOSED, *ANSWERS, *PAGES, *TO_SIGN, ActivityKind.SIGNED_OFF)
"""What other programs are told of; people hear what of it concerns them."""

How = NoticeChoice.How


@dataclass(frozen=True, slots=True)
class OwnFlag:
    """A flag on a page of somebody's. ``key`` stays the same as long as it is the same flag."""

    key: int
    words: str
    url: str


FlagSource = Callable[[Membership], list[OwnFlag]]
FLAG_SOURCES: list[FlagSource] = []
"""Who knows of flags: the guides say so here, since the bible knows no marks."""


def how_for(membership: Membership) -> NoticeChoice.How:
    """How somebody wants word of a series: what they said of it, else of all, else once a day; never without an
    address."""
    if not membership.user.email:
        return How.NEVER
    choices = NoticeChoice.objects.filter(user=membership.user_id).exclude(how="")
    by_series = {choice.series_id: How(choice.how) for choice in choices}
    return by_series.get(membership.series_id) or by_series.get(None) or How.DAILY


def signs(membership: Membership) -> bool:
    """Whether issues in check are this member's to sign: the editors', and the leads' where there is no editor."""
    if membership.role == Membership.Role.EDITOR:
        return True
    editors = membership.series.memberships.filter(role=Membership.Role.EDITOR)
    return membership.may(Permission.SIGN_OFF) and not editors.exists()


def news(membership: Membership, since: dt.datetime) -> list[Activity]:
    """What others have done since that concerns this member, oldest first: only what they may see."""
    wanted = Q(kind__in=(*ANSWERS, *PAGES), person=membership.user_id)
    if membership.may(Permission.LOCK):
        wanted |= Q(kind=ActivityKind.PROPOSED)
    if signs(membership):
        wanted |= Q(kind__in=TO_SIGN)
    rows = Activity.objects.visible_to(membership).filter(wanted).since(since).exclude(by=membership.user_id)
    return list(rows.with_names().order_by("at", "id"))


def new_flags(membership: Membership, told_flags: list[int]) -> tuple[list[OwnFlag], list[int]]:
    """The flags on one's own pages that one has not been told of, and the keys of all there are now."""
    every = [flag for source in FLAG_SOURCES for flag in source(membership)]
    known = set(told_flags)
    return [flag for flag in every if flag.key not in known], [flag.key for flag in every]


def sentence(deed: Activity, series: Series) -> str:
    """One deed in plain words: “Ruben Aske proposed YR3B2 for Oddny, work coat: coat.”"""
    who = name_of(deed.by) if deed.by else "Somebody"
    issue = f"issue {deed.issue.number}" if deed.issue else "an issue"
    reason = f" {deed.words['reason']}" if deed.words.get("reason") else ""
    return f"{who} {_did(deed, series, issue)}.{reason}"


def _did(deed: Activity, series: Series, issue: str) -> str:
    kind, words = ActivityKind(deed.kind), deed.words
    pages = f"{'page' if deed.count == 1 else 'pages'} {words.get('pages', '')} of {issue}"
    due = words.get("due", "")
    to = name_of(deed.person) if deed.person else words.get("to", "")
    match kind:
        case ActivityKind.PROPOSED | ActivityKind.ACCEPTED | ActivityKind.DECLINED if deed.proposal:
            about = f"{series.write(deed.proposal.locked)} for {deed.proposal.part.full_name}"
            whose = "" if kind == ActivityKind.PROPOSED else " the proposal of"
            return f"{ {ActivityKind.PROPOSED: 'proposed'}.get(kind, kind.value) }{whose} {about}"
        case ActivityKind.PAGES_GIVEN:
            return f"gave {pages} to {to}{f', to be in by {due}' if due else ''}"
        case ActivityKind.PAGES_CHANGED:
            return f"said that {pages} {'is' if deed.count == 1 else 'are'} to be in by {due or 'no day'}"
        case ActivityKind.PAGES_BACK:
            return f"took {pages} back from {to}"
        case ActivityKind.PUT_IN_CHECK:
            return f"put {issue} in check: it waits to be signed off"
        case ActivityKind.REOPENED:
            many = f"{counted(deed.count, 'issue')}: {words.get('name', '')}" if deed.count > 1 else issue
            return f"opened {many} again"
        case ActivityKind.SIGNED_OFF:
            return f"signed {issue} off"
    return kind.label


def address_of_deed(deed: Activity, series: Series) -> str:
    """Where one goes on from a deed."""
    if deed.proposal_id:
        path = reverse("proposals", args=[series.slug]) + f"#proposal-{deed.proposal_id}"
    elif deed.issue_id and deed.kind in TO_SIGN:
        path = reverse("issue-check", args=[series.slug, deed.issue_id])
    elif deed.issue_id:
        path = reverse("issue", args=[series.slug, deed.issue_id])
    else:
        path = reverse("activity", args=[series.slug])
    return whole(path)
