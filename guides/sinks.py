"""Marked areas that touch and print look-alike, through a whole issue.

What a page's print has shown is kept beside its picture (``guides.prints``) and holds until a mark, the press or the
scan changes; pages of which nothing is known as they are now wait to be looked at.
"""

from __future__ import annotations

import time
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from bible.models import Issue
from bible.presses import condition
from guides.imaging.neighbours import Sinking
from guides.models import Guide, Mark
from guides.prints import kept_print, print_of

BUDGET = 20.0
"""Seconds in which pages are begun in one request: a worker is given up after 60."""


@dataclass(frozen=True, slots=True)
class Pair:
    """Two marks whose areas touch, and how easily one is mistaken for the other."""

    first: Mark
    second: Mark
    found: Sinking


@dataclass(frozen=True, slots=True)
class Neighbours:
    """``pairs`` in the order of the pages, the riskiest of a page first; ``waiting`` pages nothing is known of."""

    pages: int
    pairs: tuple[Pair, ...]
    waiting: tuple[Guide, ...]


def neighbours_of(issue: Issue) -> Neighbours:
    """What is known of an issue's current pages. Two queries, and a look into the storage for each page."""
    series, press = issue.series, condition(issue.series)
    guides = list(Guide.objects.filter(issue=issue).current().in_order().select_related("colourist"))
    marks: dict[int, list[Mark]] = defaultdict(list)
    for mark in Mark.objects.filter(guide__in=guides, deleted_at=None).with_parts().order_by("number"):
        marks[mark.guide_id].append(mark)
    pairs: list[Pair] = []
    waiting: list[Guide] = []
    for guide in guides:
        guide.series, guide.issue = series, issue
        of_page = marks[guide.pk]
        kept = kept_print(guide, of_page, press)
        if kept is None:
            waiting.append(guide)
            continue
        by_number = {mark.number: mark for mark in of_page}
        for mark in of_page:
            mark.series, mark.guide = series, guide
        pairs += [Pair(by_number[one.first], by_number[one.second], one) for one in kept.sinking]
    return Neighbours(len(guides), tuple(pairs), tuple(waiting))


def look_at_pages(guides: Iterable[Guide], *, seconds: float = BUDGET) -> tuple[int, int]:
    """Print pages one after another until the time is used up. Returns how many were done, and how many are left."""
    until, waiting = time.monotonic() + seconds, list(guides)
    for done, guide in enumerate(waiting):
        if done and time.monotonic() > until:
            return done, len(waiting) - done
        print_of(guide)
    return len(waiting), 0
