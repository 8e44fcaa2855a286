"""Issues from the rows of a table, in the order of the rows."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from bible.models import Issue, Series
from bible.series.edits import save_edit
from bible.series.refusals import Refused
from bible.series.services import add_issue
from guides.imports.bible_reading import one_line
from guides.imports.dates import in_words
from guides.imports.fates import Fate, State
from guides.imports.issue_numbers import Numbered, number_key, plain_number, run_of
from guides.imports.saying import SaidRow

if TYPE_CHECKING:
    from django.contrib.auth.models import User

NUMBER_LENGTH = 30
TITLE_LENGTH = 120
ORDER_FIGURES = 6
"""Of a place in the running order: a million issues."""


@dataclass(frozen=True, slots=True)
class IssueRow:
    """``order`` is its place in the running order of the table; None where the table does not say."""

    line: int
    number: str
    title: str
    published: dt.date | None
    order: int | None = None
    told: str = ""

    def fate(self, state: State, words: str) -> Fate:
        return Fate(self.line, state, " ".join(filter(None, (words, self.told))))


def read_issue(said_row: SaidRow) -> IssueRow | Fate:
    row, values = said_row.row, said_row.said
    if said_row.wrong:
        return Fate.wrong(row.line, said_row.wrong)
    number, title = one_line(values["number"]), one_line(values["title"])
    if not number:
        return Fate.wrong(row.line, "It has no number.")
    if len(number) > NUMBER_LENGTH or len(title) > TITLE_LENGTH:
        return Fate.wrong(row.line, f"A number has at most {NUMBER_LENGTH} signs, a title {TITLE_LENGTH}.")
    published = dt.date.fromisoformat(values["published"]) if values["published"] else None
    order = values["order"]
    if order and not (order.isascii() and order.isdigit() and len(order) <= ORDER_FIGURES):
        return Fate.wrong(row.line, f"“{order}” is no place in the running order; write 1 for the first issue.")
    return IssueRow(row.line, number, title, published, int(order) if order else None, " ".join(said_row.told))


def backwards(rows: Iterable[IssueRow]) -> list[str]:
    """A word of caution where nothing but cover dates tells an order, and they tell the opposite of the rows'."""
    rows = list(rows)
    dates = [row.published for row in rows if row.published]
    if any(row.order is not None for row in rows) or len(set(dates)) < 2 or dates != sorted(dates, reverse=True):
        return []
    return [
        "By their cover dates these rows begin with the newest issue, and they would come in in the order of the"
        " rows. Turn the table round, or give it a column that says each issue’s place in the running order."
    ]


def take_issues(series: Series, rows: Iterable[IssueRow], by: User) -> list[Fate]:
    """Add what is new; what is there keeps its place, and gets the title and date that the table says.

    Rows with a place in the running order come behind the row before them by that place, others behind the last
    issue.
    """
    known = Numbered((issue.number, issue) for issue in series.issues.all())
    last = series.issues.in_order().last()
    fates = []
    before: Issue | None = None
    for row in sorted(rows, key=lambda row: (row.order is None, row.order or 0, row.line)):
        there = known.get(row.number)
        if there:
            fates.append(_updated(there, row, by))
            before = there
            continue
        if (run := run_of(row.number)) and all(number_key(end).isdigit() for end in run):
            why = f"“{row.number}” names several issues: write a line for each."
            fates.append(row.fate(State.WRONG, why))
            continue
        number = plain_number(row.number)
        behind = before if row.order is not None and before else last
        told_of: dict[str, Any] = {"number": number, "title": row.title, "published": row.published}
        try:
            there = add_issue(series=series, after=behind, by=by, **told_of)
        except Refused as full:
            fates.append(Fate.wrong(row.line, str(full)))
            continue
        where = f"comes behind issue {behind.number}" if behind else "is the first one"
        written = f" (“{row.number}” in the table)" if number != row.number else ""
        fates.append(row.fate(State.ADDED, f"Issue {number}{written} {where}."))
        last = there if behind == last else last
        known.add(number, there)
        before = there
    return fates


def _updated(issue: Issue, row: IssueRow, by: User) -> Fate:
    """An issue that is there already, with what the table says of it; a blank cell says nothing."""
    changes = []
    if row.title and row.title != issue.title:
        changes.append(
            f"its title “{issue.title}” becomes “{row.title}”" if issue.title else f"it is called “{row.title}”"
        )
        issue.title = row.title
    if row.published and row.published != issue.published:
        was = f"{in_words(issue.published)} becomes " if issue.published else "is "
        changes.append(f"its cover date {was}{in_words(row.published)}")
        issue.published = row.published
    if not changes:
        return row.fate(State.SAME, f"There is an issue {issue.number} already.")
    save_edit(row=issue, fields=["title", "published"], by=by)
    return row.fate(State.CHANGED, f"Issue {issue.number}: {', '.join(changes)}.")
