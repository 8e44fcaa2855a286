"""Writes to a series, its issues and how its codes read."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from django.db import transaction
from django.db.models import Max
from django.utils.text import capfirst

from bible import signals
from bible.models import POSITION_GAP, ActivityKind, ActivityRoom, Issue, Membership, Series, as_printed, record
from bible.series.holding import hold_series
from bible.series.refusals import Refused

if TYPE_CHECKING:
    from django.contrib.auth.models import User

LAST_POSITION = 2**31 - 1
"""The largest running-order position either database can hold."""


@transaction.atomic
def start_series(*, series: Series, lead: User) -> Series:
    """Save a new series with its first lead colourist, without whom nobody could open it."""
    series.save(force_insert=True)
    Membership.objects.create(series=series, user=lead, role=Membership.Role.LEAD)
    record(ActivityKind.STARTED, series=series, by=lead)
    return series


@transaction.atomic
def add_issue(
    *,
    series: Series,
    number: str,
    title: str = "",
    published: dt.date | None = None,
    after: Issue | None = None,
    by: User | None = None,
) -> Issue:
    """Add an issue at the end of the running order, or right after another one.

    Raises:
        Refused: there is no room, or somebody has added this number meanwhile.
    """
    hold_series(series.pk)
    number = as_printed(number)
    if series.issues.called(number).exists():
        raise Refused(f"Somebody has added issue {number} to {series} meanwhile.")
    position = _free_position(series, after)
    issue = Issue.objects.create(series=series, number=number, position=position, title=title, published=published)
    words = {"what": "issue", "name": number}
    record(ActivityKind.ADDED, room=ActivityRoom.ISSUES, series=series, by=by, issue=issue, words=words)
    return issue


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


def standing_between(issue: Issue) -> tuple[Issue | None, Issue | None]:
    """The issues before and behind one in the running order, as they stand now."""
    issues = issue.series.issues
    here = issues.filter(pk=issue.pk).values("position")
    before = issues.filter(position__lt=here).order_by("-position").first()
    return before, issues.filter(position__gt=here).in_order().first()


def place_in_order(issue: Issue) -> str:
    """Where an issue stands, as a text to be shown and handed back: has anybody moved it meanwhile?"""
    return "-".join(str(neighbour.pk if neighbour else 0) for neighbour in standing_between(issue))


@transaction.atomic
def move_issue(*, issue: Issue, after: Issue | None, seen: str | None = None, by: User | None = None) -> None:
    """Put an issue behind another one in the running order, or first; its marks are resolved anew.

    Args:
        seen: ``place_in_order`` when the person looked; refused if the issue has other neighbours now.
    """
    hold_series(issue.series_id)
    issue.refresh_from_db(fields=["position"])
    if seen is not None and seen != place_in_order(issue):
        between = " and ".join(str(neighbour) for neighbour in standing_between(issue) if neighbour)
        raise Refused(
            f"The running order changed meanwhile: {issue} now stands beside {between or 'no other issue'}."
            " Look at it, then move it if yours should still hold."
        )
    if after is not None:
        after.refresh_from_db(fields=["position"])
        if after.pk == issue.pk:
            raise Refused(f"{capfirst(str(issue))} cannot stand behind itself.")
    if after is None:
        first = issue.series.issues.exclude(pk=issue.pk).in_order().first()
        if first is None:
            raise Refused(f"{capfirst(str(issue))} is the only one: there is no other place for it.")
        if first.position < 2:
            raise Refused(f"There is no room left before issue {first.number}.")
        issue.position = first.position // 2
    else:
        issue.position = _free_position(issue.series, after, moving=issue)
    issue.save(update_fields=["position"])
    words = {"name": issue.number, "after": after.number if after else ""}
    record(ActivityKind.MOVED, series=issue.series_id, by=by, issue=issue, words=words)
    place = f"behind issue {after.number}" if after else "to the front"
    signals.issue_moved.send(sender=Issue, issue=issue, by=by, why=f"moved {place} in the running order")
