"""Proposals as a table to take along."""

from __future__ import annotations

from collections.abc import Iterable

from bible.exports.tables import LOCK_COLUMNS, Table, about, lock_cells, person_cell
from bible.models import Proposal, Series
from bible.series.running_order import RunningOrder


def proposals_table(series: Series, proposals: Iterable[Proposal], order: RunningOrder) -> Table:
    rows = (
        (
            *one.part.names, *lock_cells(series, one),
            order.span(one), person_cell(one.proposed_by), one.proposed_at, one.note, one.seen_at, one.state,
            person_cell(one.answered_by), one.answered_at, one.answer,
            series.write(one.lock.locked) if one.lock else None,
        )
        for one in proposals
    )  # fmt: skip
    columns = (
        "subject", "costume", "part", *LOCK_COLUMNS, "issues", "proposed_by", "proposed_at", "note", "seen_at",
        "state", "answered_by", "answered_at", "answer", "locked_code",
    )  # fmt: skip
    return Table("proposals", columns, rows, about(series))
