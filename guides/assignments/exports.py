"""Who does which page, as a table to take along."""

from __future__ import annotations

from collections.abc import Iterable

from bible.exports.tables import Table, about, person_cell
from bible.models import Series
from guides.assignments.queries import GivenPage

COLUMNS = (
    "issue", "page", "given_to", "still_here", "to_be_in_by", "state", "late", "marks", "open_flags", "note",
    "given_by", "given_at",
)  # fmt: skip


def assignments_table(series: Series, pages: Iterable[GivenPage], name: str = "assignments") -> Table:
    """One row a page. ``still_here`` is false where whoever had it has left, so that it is nobody's."""
    rows = (
        (
            one.assignment.issue.number, one.assignment.page, person_cell(one.assignment.colourist), one.is_held,
            one.assignment.due, one.state, one.is_late, one.marks, one.flags, one.assignment.note or None,
            person_cell(one.assignment.given_by), one.assignment.given_at,
        )
        for one in pages
    )  # fmt: skip
    return Table(name, COLUMNS, rows, about(series))
