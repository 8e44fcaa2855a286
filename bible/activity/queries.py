"""What has happened, as pages of a list: newest first, grouped by day, with a line where the last visit ended."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass, field
from heapq import merge
from itertools import groupby

from bible.models import Activity, ActivityQuerySet, ActivityRoom, Key, Membership, Series
from bible.web.whole_numbers import whole_number

DEEDS_A_PAGE = 50


@dataclass(frozen=True, slots=True)
class ActivityLine:
    """One deed. ``seen_here``: everything from this one on had been looked at on the visit before."""

    deed: Activity
    is_new: bool
    seen_here: bool


@dataclass(frozen=True, slots=True)
class Page:
    """``days``: (day, its deeds). ``more``: where the next page begins; empty on the last one."""

    days: list[tuple[dt.date, list[ActivityLine]]] = field(default_factory=list)
    more: str = ""
    new: int = 0


def page_of(
    series: Series,
    lists: Iterable[ActivityQuerySet],
    after: Key | None,
    seen_until: dt.datetime | None,
    me: int | None = None,
) -> Page:
    """One page of one or several lists of a series' deeds, merged.

    Each list is asked for one page and no more, so that the cost does not grow with what has happened.

    Args:
        after: the key of the last deed of the page before.
        seen_until: up to when the reader had looked before this visit; None draws no line.
        me: the reader, whose own deeds are no news to them.
    """
    asked = [(rows.before(after) if after else rows).newest_first().with_names() for rows in lists]
    merged = merge(*[rows[: DEEDS_A_PAGE + 1] for rows in asked], key=lambda deed: deed.key, reverse=True)
    deeds = [next(same) for _, same in groupby(merged, key=lambda deed: deed.pk)][: DEEDS_A_PAGE + 1]
    shown = deeds[:DEEDS_A_PAGE]
    lines, above = [], after is None or (seen_until is not None and after[0] > seen_until)
    for deed in shown:
        _know_series(deed, series)
        fresh = seen_until is not None and deed.at > seen_until
        lines.append(ActivityLine(deed, fresh and deed.by_id != me, above and not fresh and seen_until is not None))
        above = fresh
    days = [(day, list(ones)) for day, ones in groupby(lines, key=lambda line: line.deed.at.date())]
    more = write_key(shown[-1].key) if len(deeds) > DEEDS_A_PAGE else ""
    return Page(days, more, sum(line.is_new for line in lines))


def latest_decisions(membership: Membership, count: int) -> list[Activity]:
    """What was last decided about locks, newest first."""
    deeds = (
        Activity.objects.visible_to(membership).filter(room=ActivityRoom.LOCKS).newest_first().with_names()[:count]
    )
    for deed in deeds:
        _know_series(deed, membership.series)
    return list(deeds)


def _know_series(deed: Activity, series: Series) -> None:
    """Addresses need the series' short name; fetched with every row it would be a query or a wide join each."""
    parts = [decision.part for decision in (deed.lock, deed.proposal) if decision]
    subjects = [deed.subject, *(part.costume.subject for part in parts)]
    for row in (deed.issue, deed.scene, deed.proposal, *subjects):
        if row:
            row.series = series


def write_key(key: Key) -> str:
    """A key as an address carries it."""
    return f"{key[0].astimezone(dt.UTC).strftime('%Y%m%dT%H%M%S.%f')}-{key[1]}"


def read_key(text: str) -> Key | None:
    """The inverse; None for anything else, which begins at the beginning."""
    moment, _, pk = text.partition("-")
    key = whole_number(pk)
    if key is None:
        return None
    try:
        return dt.datetime.strptime(moment, "%Y%m%dT%H%M%S.%f").replace(tzinfo=dt.UTC), key
    except ValueError:
        return None
