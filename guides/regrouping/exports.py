"""What was merged, moved and re-assigned, as a table to take along."""

from __future__ import annotations

from collections.abc import Iterable

from bible.exports.tables import Table, about, person_cell
from bible.models import Series
from guides.models import Regrouping


def regroupings_table(series: Series, found: Iterable[Regrouping]) -> Table:
    rows = (
        (one.kind, one.words, one.reason, person_cell(one.by), one.at, person_cell(one.undone_by), one.undone_at)
        for one in found
    )
    columns = ("kind", "what", "reason", "by", "at", "undone_by", "undone_at")
    return Table("merged-and-moved", columns, rows, about(series))
