"""Issues from the rows of a table, in the order of the rows."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from bible.models import Series
from bible.services import add_issue
from guides.spreadsheets.bible_rows import Said, one_line
from guides.spreadsheets.fates import Fate, State
from guides.spreadsheets.grid import Row

if TYPE_CHECKING:
    from django.contrib.auth.models import User

NUMBER_LENGTH = 30
TITLE_LENGTH = 120


@dataclass(frozen=True, slots=True)
class IssueRow:
    line: int
    number: str
    title: str
    published: dt.date | None


def read_issue(row: Row, said: Said) -> IssueRow | Fate:
    number, title = one_line(said["number"]), one_line(said["title"])
    if not number:
        return Fate.wrong(row.line, "It has no number.")
    if len(number) > NUMBER_LENGTH or len(title) > TITLE_LENGTH:
        return Fate.wrong(row.line, f"A number has at most {NUMBER_LENGTH} signs, a title {TITLE_LENGTH}.")
    try:
        published = dt.date.fromisoformat(said["published"]) if said["published"] else None
    except ValueError:
        return Fate.wrong(row.line, f"“{said['published']}” is no date; write it as 2026-11-25.")
    return IssueRow(row.line, number, title, published)


def take_issues(series: Series, rows: Iterable[IssueRow], by: User) -> list[Fate]:
    """Add what is new behind the last issue; what is there keeps its title, date and place."""
    known = {number.casefold() for number in series.issues.values_list("number", flat=True)}
    fates = []
    for row in rows:
        if row.number.casefold() in known:
            fates.append(Fate(row.line, State.SAME, f"There is an issue {row.number} already."))
            continue
        add_issue(series=series, number=row.number, title=row.title, published=row.published, by=by)
        known.add(row.number.casefold())
        fates.append(Fate(row.line, State.ADDED, f"Issue {row.number} comes behind the last one."))
    return fates
