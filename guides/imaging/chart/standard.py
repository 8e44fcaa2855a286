"""The sheets of the standard charts, known by the number that their marks carry."""

from __future__ import annotations

from functools import lru_cache
from itertools import product

from bible.colour.charts import STANDARD_CHARTS
from bible.colour.notation import STANDARD_NOTATIONS
from guides.imaging.chart.sheet import PAGE_SIZES, SheetLayout, lay_out


@lru_cache(maxsize=1)
def _sheets() -> dict[int, SheetLayout]:
    """By check number; of two that carry the same the one listed first."""
    sheets: dict[int, SheetLayout] = {}
    for chart, notation, page in product(STANDARD_CHARTS.values(), STANDARD_NOTATIONS.values(), PAGE_SIZES):
        sheet = lay_out(chart.tints, notation.write, title=chart.title, page=page)
        sheets.setdefault(sheet.check, sheet)
    return sheets


def standard_sheet(check: int) -> SheetLayout | None:
    """The standard chart's sheet of this number, if any."""
    return _sheets().get(check)
