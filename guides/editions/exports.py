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
            *one.part.names, one.role, order.span(one.stretch),
            *tint_cells(edition.series, one.was.locked if one.was else None),
            *tint_cells(edition.series, one.now.locked if one.now else None),
            None if one.delta_e is None else round(one.delta_e, 2), one.marks,
            person_cell(one.now.decided_by) if one.now else None, one.now.decided_at if one.now else None,
            (one.now.reason or None) if one.now else None,
        )
        for one in rows
    )  # fmt: skip
    columns = (
        "subject", "costume", "part", "role", "issues", *tint_columns("beside"), *tint_columns("edition"),
        "ciede2000", "marks", "decided_by", "decided_at", "reason",
    )  # fmt: skip
    told = about(edition.series, press, edition=edition.name, beside=beside.name if beside else "first printing")
    return Table(f"edition-{edition.pk}", columns, cells, told)
