"""Marks that carry a tint, as a table to take along."""

from __future__ import annotations

from bible.colour.tints import Tint
from bible.exports.tables import Table, about, person_cell
from bible.models import Series
from guides.core.exports import CHUNK
from guides.models import MarkQuerySet


def carrying_table(series: Series, marks: MarkQuerySet, tint: Tint) -> Table:
    """Marks that carry a tint, in running order; a background has no part."""
    role_name = series.roles.name
    rows = (
        (
            mark.guide.issue.number, mark.guide.page, mark.number, mark.both_written,
            *(mark.part.names if mark.part else (None, None, None)), role_name(mark.role) if mark.part else None,
            person_cell(mark.guide.colourist),
        )
        for mark in marks.in_order().with_names().iterator(CHUNK)
    )  # fmt: skip
    columns = ("issue", "page", "mark", "written", "subject", "costume", "part", "role", "colourist")
    return Table("marks-of-a-tint", columns, rows, about(series, code=series.write(tint)))
