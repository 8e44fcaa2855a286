"""Proposals as a table to take along."""

from __future__ import annotations

from collections.abc import Iterable

from bible.exports.tables import LOCK_COLUMNS, Table, about, lock_cells, person_cell
from bible.models import Proposal, Series
from bible.series.running_order import RunningOrder


def proposals_table(series: Series, proposals: Iterable[Proposal], order: RunningOrder) -> Table:
    rows = (
        (
            *proposal.part.names, *lock_cells(series, proposal),
            order.span(proposal), person_cell(proposal.proposed_by), proposal.proposed_at, proposal.note,
            proposal.seen_at, proposal.state, person_cell(proposal.answered_by), proposal.answered_at,
            proposal.answer, series.write(proposal.lock.locked) if proposal.lock else None,
        )
        for proposal in proposals
    )  # fmt: skip
    columns = (
        "subject", "costume", "part", *LOCK_COLUMNS, "issues", "proposed_by", "proposed_at", "note", "seen_at",
        "state", "answered_by", "answered_at", "answer", "locked_code",
    )  # fmt: skip
    return Table("proposals", columns, rows, about(series))
