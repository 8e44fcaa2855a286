"""The chart, its audit and its look-alikes, as tables to take along."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from bible.chart.look_alikes import Ranking
from bible.chart.sheets import Layout
from bible.colour.chart_audit import ChartAudit
from bible.colour.chart_table import ChartTable
from bible.colour.press import PressCondition
from bible.colour.tints import INK_NAMES
from bible.exports.tables import Cell, Table, about, tint_cells, tint_columns
from bible.models import Edition, Series, Subject


def audit_table(series: Series, read: ChartTable, audit: ChartAudit) -> Table:
    """All findings of an audit, behind the rows that could not be read and were left out of it."""

    def rows() -> Iterator[tuple[Cell, ...]]:
        for error in read.errors:
            yield (error.line, None, "row_unreadable", error.message, *((None,) * 12))
        for finding in audit.findings:
            yield (
                finding.line, finding.label or None, finding.kind.value, finding.message,
                *tint_cells(series, finding.tint), *tint_cells(series, finding.says),
                finding.other_line, "; ".join(finding.suggestions) or None,
            )  # fmt: skip

    columns = (
        "line", "label", "finding", "message", *tint_columns("swatch"), *tint_columns("label"), "other_line",
        "perhaps",
    )  # fmt: skip
    steps = {INK_NAMES[ink]: levels for ink, levels in audit.steps.items()}
    facts = about(series, swatches=audit.swatch_count, rows_left_out=read.error_count, steps=steps)
    return Table("chart-audit", columns, rows(), facts)


def chart_table(series: Series, layout: Layout, press: PressCondition, vision: str) -> Table:
    """A row a tint in the order of the sheets, with its look-alikes as the page ties them."""
    families = {id(cell): family.name for family in layout.families for cell in family.cells}
    cells = [cell for sheet in layout.sheets for _, line in sheet.rows for cell in line if cell]
    cells += [cell for family in layout.families for cell in family.cells]
    rows = (
        (
            *tint_cells(series, cell.tint), families.get(id(cell)), cell.fill, cell.who_in_full or None,
            cell.more + 1 if cell.who else 0,
            series.write(cell.nearest.tint) if cell.nearest else None,
            round(float(cell.nearest.difference), 2) if cell.nearest else None,
            cell.nearest.word if cell.nearest else None,
            cell.right or None, cell.below or None, cell.before or None,
        )
        for cell in cells
    )  # fmt: skip
    columns = (
        *tint_columns(), "family", "srgb", "carried_by", "carried_count", "nearest_code", "nearest_ciede2000",
        "nearest_word", "tint_to_the_right", "tint_below", "sheet_before",
    )  # fmt: skip
    return Table("chart", columns, rows, about(series, press, vision=vision, chart=series.chart.title))


def look_alikes_table(
    series: Series,
    ranking: Ranking,
    press: PressCondition,
    vision: str,
    subject: Subject | None,
    edition: Edition | None = None,
) -> Table:
    """Every pair, the most easily mistaken first, behind the codes that both sides share."""

    def side(half: Any) -> tuple[Cell, ...]:
        return (*tint_cells(series, half.tint), "; ".join(half.parts), half.more)

    def rows() -> Iterator[Sequence[Cell]]:
        for ours, theirs in ranking.shared:
            yield (None, *side(ours), *side(theirs), "the same code", 0.0)
        for row in ranking.rows:
            yield (row.rank, *side(row.first), *side(row.second), row.word, round(row.difference, 2))

    sides = tuple(f"{which}_{name}" for which in ("first", "second") for name in (*tint_columns(), "parts", "more"))
    facts = about(series, press, vision=vision, subject=subject.name if subject else None)
    facts |= {"edition": edition.name if edition else None}
    return Table("look-alikes", ("rank", *sides, "in_print", "ciede2000"), rows(), facts)
