"""What differs between two printings, as a table to take along."""

from __future__ import annotations

from collections.abc import Iterable

from bible.colour.press import PressCondition
from bible.exports.tables import Table, about, person_cell, tint_cells, tint_columns
from bible.models import Edition
from bible.series.running_order import RunningOrder
from guides.editions.queries import PrintingDifference


def differences_table(
    edition: Edition, beside: Edition | None, rows: Iterable[PrintingDifference], press: PressCondition
) -> Table:
    order = RunningOrder.of(edition.series)
    cells = (
        (
            *difference.part.names, difference.role, order.span(difference.stretch),
            *tint_cells(edition.series, difference.was.locked if difference.was else None),
            *tint_cells(edition.series, difference.now.locked if difference.now else None),
            None if difference.delta_e is None else round(difference.delta_e, 2), difference.marks,
            person_cell(difference.now.decided_by) if difference.now else None,
            difference.now.decided_at if difference.now else None,
            (difference.now.reason or None) if difference.now else None,
        )
        for difference in rows
    )  # fmt: skip
    columns = (
        "subject", "costume", "part", "role", "issues", *tint_columns("beside"), *tint_columns("edition"),
        "ciede2000", "marks", "decided_by", "decided_at", "reason",
    )  # fmt: skip
    facts = about(edition.series, press, edition=edition.name, beside=beside.name if beside else "first printing")
    return Table(f"edition-{edition.pk}", columns, cells, facts)
