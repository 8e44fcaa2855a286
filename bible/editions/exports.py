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
            edition.name,
            condition(series, edition.press).title,
            order.runs({row.issue_id for row in edition.collected.all()}),
            edition.published,
            edition.note or None,
        )
        for edition in editions
    )
    return Table("editions", ("edition", "press_condition", "issues", "published", "note"), rows, about(series))
