"""What was read on a chart, as a table to take along."""

from __future__ import annotations

from bible.colour.tints import Tint
from bible.exports.tables import Table, about, tint_cells, tint_columns
from guides.models import ChartScan


def patches_table(scan: ChartScan) -> Table:
    """Each patch of a scan: what its label says, what was measured, the doubt, what is amiss."""
    series = scan.series
    rows = (
        (
            number, patch["code"], *tint_cells(series, Tint(*patch["tint"])), *patch["lab"], patch["doubt"],
            patch["amiss"]["said"] if patch["amiss"] else None,
        )
        for number, patch in enumerate(scan.patches, start=1)
    )  # fmt: skip
    columns = ("patch", "code", *tint_columns("labelled"), "lab_l", "lab_a", "lab_b", "doubt_ciede2000", "amiss")
    facts = about(series, scan=scan.number, run=scan.run)
    facts["caution"] = "Read from a scan, not measured with an instrument. A screen is not a proof."
    return Table(f"chart-scan-{scan.pk}", columns, rows, facts)
