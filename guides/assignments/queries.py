"""Who has which page, how far it is, and what is late. A page is done once it is in, marked and without a flag; late
is one whose day has passed and that is not in, or in and not marked."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.utils import timezone

from bible.models import Issue, Membership, Series
from bible.models.naming import name_of
from bible.web.names import counted
from guides.core.labels import page_order, pages_shown
from guides.models import Assignment, AssignmentQuerySet, Guide

if TYPE_CHECKING:
    from django.contrib.auth.models import User


@dataclass(frozen=True, slots=True)
class GivenPage:
    """A page somebody has, and its guide where it is in. ``today`` is the day it is looked at."""

    assignment: Assignment
    guide: Guide | None
    today: dt.date

    @property
    def is_held(self) -> bool:
        """False: whoever it was given to has left, or may not mark any more, so it is nobody's."""
        return self.assignment.held  # type: ignore[attr-defined]

    @property
    def marks(self) -> int:
        return self.guide.mark_count if self.guide else 0  # type: ignore[attr-defined]

    @property
    def flags(self) -> int:
        return self.guide.flag_count if self.guide else 0  # type: ignore[attr-defined]

    @property
    def is_to_do(self) -> bool:
        return not self.marks

    @property
    def is_done(self) -> bool:
        return bool(self.marks) and not self.flags

    @property
    def is_late(self) -> bool:
        return self.is_to_do and self.assignment.due is not None and self.assignment.due < self.today

    @property
    def days_late(self) -> int:
        return (self.today - self.assignment.due).days if self.is_late and self.assignment.due else 0

    @property
    def state(self) -> str:
        """“not in yet”, “in, not marked”, “2 flags”, “done”."""
        if self.guide is None:
            return "not in yet"
        if not self.marks:
            return "in, not marked"
        return counted(self.flags, "flag") if self.flags else "done"


def given_pages(assignments: AssignmentQuerySet, guides: Iterable[Guide] | None = None) -> list[GivenPage]:
    """The pages with their guides, in two queries whatever their number.

    Args:
        guides: the current guides of their issues with counts, where they are at hand.
    """
    rows = list(assignments.with_names())
    if guides is None:
        wanted = Guide.objects.filter(issue__in={assignment.issue_id for assignment in rows}).current()
        guides = wanted.with_counts().select_related("series") if rows else ()
    by_page = {(guide.issue_id, page): guide for guide in guides for page in pages_shown(guide.page)}
    today = timezone.localdate()
    given = []
    for assignment in rows:
        here = (by_page.get((assignment.issue_id, page)) for page in sorted(pages_shown(assignment.page)))
        given.append(GivenPage(assignment, next(filter(None, here), None), today))
    return given


def waiting(series: Series) -> list[GivenPage]:
    """Every page given in the issues in work, in their order."""
    return given_pages(Assignment.objects.filter(series=series).in_work().in_order())


def late_first(pages: Iterable[GivenPage]) -> list[GivenPage]:
    """What is to be done, the longest late first, then by day, those without a day last; what is done is left out."""
    rows = [page for page in pages if not page.is_done]
    return sorted(rows, key=lambda page: (not page.is_to_do, page.assignment.due or dt.date.max))


def mine(membership: Membership) -> list[GivenPage]:
    """One's own pages that are not done, what is late first."""
    rows = Assignment.objects.filter(series=membership.series_id).in_work().of_colourist(membership.user)
    return late_first(given_pages(rows.in_order()))


@dataclass(frozen=True, slots=True)
class PersonLine:
    """What waits for one person; ``person`` is None for the pages that are nobody's any more."""

    person: User | None
    pages: tuple[GivenPage, ...]

    @property
    def name(self) -> str:
        return name_of(self.person) if self.person else "nobody"

    @property
    def to_come(self) -> int:
        return sum(page.guide is None for page in self.pages)

    @property
    def unmarked(self) -> int:
        return sum(page.guide is not None and not page.marks for page in self.pages)

    @property
    def flagged(self) -> int:
        return sum(bool(page.flags) for page in self.pages)

    @property
    def done(self) -> int:
        return sum(page.is_done for page in self.pages)

    @property
    def late(self) -> int:
        return sum(page.is_late for page in self.pages)

    @property
    def next_due(self) -> dt.date | None:
        return min(
            (page.assignment.due for page in self.pages if page.is_to_do and page.assignment.due), default=None
        )


def by_person(pages: Iterable[GivenPage]) -> list[PersonLine]:
    """Nobody's first, then who is late, then by name."""
    by_holder: dict[User | None, list[GivenPage]] = defaultdict(list)
    for page in pages:
        by_holder[page.assignment.colourist if page.is_held else None].append(page)
    lines = [PersonLine(person, tuple(rows)) for person, rows in by_holder.items()]
    return sorted(lines, key=lambda line: (line.person is not None, -line.late, line.name.casefold()))


@dataclass(frozen=True, slots=True)
class PageRow:
    """A page of an issue: given, here, or only expected."""

    label: str
    given: GivenPage | None
    guide: Guide | None


def pages_of(issue: Issue, guides: Iterable[Guide]) -> list[PageRow]:
    """Every page of an issue that is given, is in, or is expected by the number of its pages."""
    guides = list(guides)
    given = given_pages(issue.assignments.in_order(), guides)
    rows = [PageRow(given_page.assignment.page, given_page, given_page.guide) for given_page in given]
    shown = {page for row in rows for page in pages_shown(row.label)}
    rows += [PageRow(guide.page, None, guide) for guide in guides if not pages_shown(guide.page) & shown]
    shown |= {page for guide in guides for page in pages_shown(guide.page)}
    expected = issue.pages_expected or 0
    rows += [PageRow(str(n), None, None) for n in range(1, expected + 1) if str(n) not in shown]
    return sorted(rows, key=lambda row: (page_order(row.label), row.label))
