"""A table, tried and taken: what would become of every row, and doing exactly that on a yes.

Rows are tried by doing it inside a savepoint that is rolled back, so what is shown is by construction what a yes
does; the yes carries a fingerprint of every row's fate. Merged cells and formulas are refused by name, since
guessing what they stand for would lock wrong tints silently.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import PurePath
from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from bible.models import Issue, Series
from bible.series.holding import hold_series
from bible.series.refusals import Refused
from bible.web.digest import WHOLE, digest
from guides.core.impact import Impact, rehearse
from guides.imports.bible_rows import BibleReader, BibleRow, BibleTaker, Said, contradictions
from guides.imports.columns import BIBLE, ISSUES, MARKS, Headings, TableField, body, find_headings, repeats_headings
from guides.imports.fates import Fate, Fates
from guides.imports.grid import Grid, GridRow, read_table
from guides.imports.issue_rows import IssueRow, backwards, read_issue, take_issues
from guides.imports.mark_rows import MarkReader, PageMark, take_marks
from guides.imports.near_names import near_names
from guides.imports.undoing import as_it_is, made_since
from guides.imports.workbooks import UnreadableTable, column_name
from guides.models import BroughtTable

if TYPE_CHECKING:
    from django.contrib.auth.models import User

Kind = BroughtTable.Kind

FIELDS: dict[str, tuple[TableField, ...]] = {Kind.BIBLE: BIBLE, Kind.MARKS: MARKS, Kind.ISSUES: ISSUES}

Columns = Mapping[str, int | None]
"""By field: the column that says it, from 0; None where none does."""


class TableMoved(Refused):
    """Something changed between the look and the yes; ``fates`` is what would become of the rows now."""

    def __init__(self, fates: Fates) -> None:
        self.fates = fates
        super().__init__("The series has changed since this was shown. Look at what would happen now, then say yes.")


@dataclass(frozen=True, slots=True)
class Opened:
    """A table with its headings found."""

    grid: Grid
    headings: Headings
    rows: tuple[GridRow, ...]


@dataclass(frozen=True, slots=True)
class Trial:
    """What would happen: to every row, and to the flags."""

    fates: Fates
    impact: Impact


def open_table(data: bytes, filename: str, kind: str) -> Opened:
    """Raises ``UnreadableTable`` where the file is no table, or has no rows below its headings."""
    grid = read_table(data, filename)
    headings = find_headings(grid, FIELDS[kind])
    rows = body(grid, headings)
    if not rows:
        raise UnreadableTable("The table has no rows." if not grid.rows else "There is nothing below the headings.")
    return Opened(grid, headings, rows)


def missing(kind: str, columns: Columns) -> list[TableField]:
    """Fields without which no row can be taken, and for which no column was named."""
    return [field for field in FIELDS[kind] if field.required and columns.get(field.name) is None]


@transaction.atomic
def keep(*, series: Series, kind: str, data: bytes, filename: str, by: User) -> BroughtTable:
    """Keep a file for its look and its yes. Raises ``UnreadableTable``; tables that nobody took are thrown away."""
    opened = open_table(data, filename, kind)
    BroughtTable.objects.filter(series=series).stale().delete()
    return BroughtTable.objects.create(
        series=series,
        kind=kind,
        filename=PurePath(filename.replace("\\", "/")).name[-200:] or "table",
        sha256=digest(data, WHOLE),
        data=data,
        columns=opened.headings.guess,
        brought_by=by,
    )


def try_out(
    series: Series, kind: str, opened: Opened, columns: Columns, by: User, changes_from: Issue | None = None
) -> Trial:
    """Do it, look, and undo it: what is shown is by construction what would happen."""
    found: list[Fates] = []
    impact = rehearse(series, lambda: found.append(_take(series, kind, opened, columns, by, changes_from)))
    return Trial(found[0], impact)


@transaction.atomic
def take(
    *,
    series: Series,
    kind: str,
    opened: Opened,
    columns: Columns,
    by: User,
    token: str | None = None,
    changes_from: Issue | None = None,
) -> Fates:
    """Take the rows that fit; the others are left out.

    Args:
        changes_from: where a row of the bible holds from that says another code than is locked, and no issue.
        token: ``Fates.token`` of what was shown; ``TableMoved`` if it would be something else now: nothing is taken.
    """
    hold_series(series.pk)
    fates = _take(series, kind, opened, columns, by, changes_from)
    if token is not None and token != fates.token:
        raise TableMoved(fates)
    return fates


@transaction.atomic
def take_kept(
    *, table: BroughtTable, columns: Columns, by: User, token: str, changes_from: Issue | None = None
) -> Fates:
    """``take`` a kept table, note what became of it and let the file go. A second yes is refused."""
    hold_series(table.series_id)
    table = BroughtTable.objects.select_for_update().select_related("series").get(pk=table.pk)
    if table.taken_at or table.data is None:
        raise Refused("This table has been taken already.")
    opened = open_table(bytes(table.data), table.filename, table.kind)
    before = as_it_is(table.series)
    fates = take(
        series=table.series,
        kind=table.kind,
        opened=opened,
        columns=columns,
        by=by,
        token=token,
        changes_from=changes_from,
    )
    table.taken_at, table.data, table.columns = timezone.now(), None, dict(columns)
    table.outcome, table.made = fates.counts, made_since(table.series, before)
    table.save()
    return fates


def _take(series: Series, kind: str, opened: Opened, columns: Columns, by: User, changes_from: Issue | None) -> Fates:
    if kind == Kind.BIBLE:
        return _take_bible(series, opened, columns, by, changes_from)
    if kind == Kind.MARKS:
        read = MarkReader(series).read
        marks, fates = _read(opened, kind, columns, read)
        return Fates.of([*fates, *take_marks([row for row in marks if isinstance(row, PageMark)], by)])
    found, fates = _read(opened, kind, columns, read_issue)
    issues = [row for row in found if isinstance(row, IssueRow)]
    return Fates.of([*fates, *take_issues(series, issues, by)], backwards(issues))


def _take_bible(series: Series, opened: Opened, columns: Columns, by: User, changes_from: Issue | None) -> Fates:
    found, fates = _read(opened, Kind.BIBLE, columns, BibleReader(series).read)
    rows = [row for row in found if isinstance(row, BibleRow)]
    clashing = contradictions(rows)
    out = {fate.line for fate in clashing}
    taker = BibleTaker(series, by, changes_from)
    taken = taker.take(row for row in rows if row.line not in out)
    return Fates.of([*fates, *clashing, *taken], near_names(taken, taker.known))


def _read(
    opened: Opened, kind: str, columns: Columns, read: Callable[[GridRow, Said], object]
) -> tuple[list[object], list[Fate]]:
    """Every row read by the kind's own reader; what cannot be read is a fate already."""
    names = [field.name for field in FIELDS[kind]]
    used = {column for column in columns.values() if column is not None}
    rows: list[object] = []
    fates: list[Fate] = []
    for row in opened.rows:
        if repeats_headings(row, opened.headings):
            fates.append(Fate.wrong(row.line, "It repeats the headings."))
        elif formulas := sorted(row.formulas & used):
            cells = ", ".join(f"{column_name(at)}{row.line}" for at in formulas)
            fates.append(Fate.wrong(row.line, f"{cells} holds a formula: paste its value in its place."))
        else:
            answer = read(row, {name: row.cell(columns.get(name)) for name in names})
            fates.append(answer) if isinstance(answer, Fate) else rows.append(answer)
    return rows, fates
