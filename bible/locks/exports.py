"""What a look-up found, as a table to take along."""

from __future__ import annotations

from collections.abc import Iterable

from bible.exports.tables import LOCK_COLUMNS, NO_LOCK, Table, about, lock_cells
from bible.locks.queries import FoundPart
from bible.models import Series
from bible.series.running_order import AsOf


def lookup_table(series: Series, found: Iterable[FoundPart], as_of: AsOf, words: str) -> Table:
    rows = (
        (*one.part.names, one.in_use, *cells)
        for one in found
        for cells in ([lock_cells(series, lock) for lock in one.locks] or [NO_LOCK])
    )
    told = about(series, words=words, as_of_issue=as_of.number or None)
    return Table("look-up", ("subject", "costume", "part", "in_use", *LOCK_COLUMNS), rows, told)
