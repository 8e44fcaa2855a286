"""Editions as a table to take along."""

from __future__ import annotations

from collections.abc import Iterable

from bible.exports.tables import Table, about
from bible.models import Edition, Series
from bible.series.presses import condition
from bible.series.running_order import RunningOrder


def editions_table(series: Series, editions: Iterable[Edition]) -> Table:
    order = RunningOrder.of(series)
    rows = (
        (
            one.name,
            condition(series, one.press).title,
            order.runs({row.issue_id for row in one.collected.all()}),
            one.published,
            one.note or None,
        )
        for one in editions
    )
    return Table("editions", ("edition", "press_condition", "issues", "published", "note"), rows, about(series))
