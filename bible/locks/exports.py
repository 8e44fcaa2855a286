"""What a look-up found, as a table to take along."""

from __future__ import annotations

from collections.abc import Iterable

from bible.exports.tables import (
    LOCK_COLUMNS,
    NO_LOCK,
    Cell,
    Table,
    about,
    lock_cells,
    person_cell,
    tint_cells,
    tint_columns,
)
from bible.locks.changes import LockChange
from bible.locks.queries import FoundPart
from bible.models import Series
from bible.series.running_order import AsOf, RunningOrder


def _codes(series: Series, match: FoundPart, order: RunningOrder) -> list[tuple[tuple[Cell, ...], str]]:
    """What is locked now, without more words, and where else the code that was asked for is locked."""
    now = [(lock_cells(series, lock), "") for lock in match.locks] or [(NO_LOCK, "")]
    return now + [(lock_cells(series, lock), order.span(lock)) for lock in match.wore]


def lookup_table(series: Series, matches: Iterable[FoundPart], as_of: AsOf, words: str) -> Table:
    order = RunningOrder.of(series)
    rows = (
        (*match.part.names, match.in_use, *cells, when)
        for match in matches
        for cells, when in _codes(series, match, order)
    )
    facts = about(series, words=words, as_of_issue=as_of.number or None, edition=as_of.edition_name)
    return Table("look-up", ("subject", "costume", "part", "in_use", *LOCK_COLUMNS, "in_other_issues"), rows, facts)


def lock_changes_table(series: Series, changes: Iterable[LockChange]) -> Table:
    """Which codes changed between two moments, one row a part and role."""
    rows = (
        (
            *change.part.names, change.role, change.what,
            *tint_cells(series, change.was.locked if change.was else None),
            *tint_cells(series, change.now.locked if change.now else None), person_cell(change.decision.decided_by),
            change.decision.decided_at, change.decision.reason or None,
        )
        for change in changes
    )  # fmt: skip
    columns = (
        "subject", "costume", "part", "role", "what", *tint_columns("was"), *tint_columns("now"), "decided_by",
        "decided_at", "reason",
    )  # fmt: skip
    return Table("lock-changes", columns, rows, about(series))
