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
            page.assignment.issue.number, page.assignment.page, person_cell(page.assignment.colourist), page.is_held,
            page.assignment.due, page.state, page.is_late, page.marks, page.flags, page.assignment.note or None,
            person_cell(page.assignment.given_by), page.assignment.given_at,
        )
        for page in pages
    )  # fmt: skip
    return Table(name, COLUMNS, rows, about(series))
