"""What was merged, moved and re-assigned, as a table to take along."""

from __future__ import annotations

from collections.abc import Iterable

from bible.exports.tables import Table, about, person_cell
from bible.models import Series
from guides.models import Regrouping


def regroupings_table(series: Series, regroupings: Iterable[Regrouping]) -> Table:
    rows = (
        (
            regrouping.kind,
            regrouping.words,
            regrouping.reason,
            person_cell(regrouping.by),
            regrouping.at,
            person_cell(regrouping.undone_by),
            regrouping.undone_at,
        )
        for regrouping in regroupings
    )
    columns = ("kind", "what", "reason", "by", "at", "undone_by", "undone_at")
    return Table("merged-and-moved", columns, rows, about(series))
