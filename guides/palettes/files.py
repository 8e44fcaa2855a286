"""What the palette room shows, as files: tables as CSV and JSON, palettes as lists of screen colours.

A screen is not a proof: what a list says in sRGB is computed for one press condition, and says so.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from bible.colour.press import PressCondition
from bible.colour.tints import Tint, as_array
from bible.exports import tables as tables_out
from bible.exports.tables import INK_COLUMNS, Table
from bible.models import Series
from guides.palettes.matrix import Matrix
from guides.palettes.statistics import Comparison

WEIGHING = "Counts are uses on page guides, not printed area; a gradient counts for both its tints."


def about(series: Series, press: PressCondition, **more: Any) -> dict[str, Any]:
    return tables_out.about(series, press, counts=WEIGHING, **more)


def palette_sheet(series: Series, matrix: Matrix, press: PressCondition, people: dict[int, str], run: str) -> Table:
    """A row a tint with its figures, then its uses in every issue of the run."""
    fixed = (
        "code", *INK_COLUMNS, "lab_l", "lab_a", "lab_b", "uses", "issues", "first_issue", "last_issue", "on_pages_of",
    )  # fmt: skip
    lab = _lab(matrix.tints, press)
    rows = [
        (
            series.write(row.tint), *row.tint.percentages, *lab[at], row.uses, row.issues, row.first.number,
            row.last.number, "; ".join(f"{people.get(key, 'nobody named')} {uses}" for key, uses in row.people),
            *matrix.counts[:, at].tolist(),
        )
        for at, row in enumerate(matrix.rows)
    ]  # fmt: skip
    columns = (*fixed, *(f"issue {issue.number}" for issue in matrix.issues))
    unreadable = int(matrix.unreadable.sum())
    return Table("palette", columns, rows, about(series, press, run=run, unreadable_uses=unreadable))


def _lab(tints: Sequence[Tint], press: PressCondition) -> list[list[float]]:
    return np.round(press.lab(as_array(tints)), 2).tolist() if tints else []


def comparison_sheet(series: Series, compared: Comparison, press: PressCondition, **more: Any) -> Table:
    rows = [
        (
            word,
            series.write(c.tint),
            *c.tint.percentages,
            c.before,
            c.after,
            round(c.share_before, 3),
            round(c.share_after, 3),
            round(c.points, 3),
        )
        for word, changes in (("went", compared.went), ("came", compared.came), ("both", compared.kept))
        for c in changes
    ]
    columns = (
        "change",
        "code",
        *INK_COLUMNS,
        "uses_before",
        "uses_after",
        "share_before_percent",
        "share_after_percent",
        "shift_points",
    )
    return Table("comparison", columns, rows, about(series, press, **more))
