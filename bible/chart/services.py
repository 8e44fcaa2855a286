"""Changing how the codes of a series read."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import transaction

from bible import signals
from bible.colour.notation import Notation
from bible.colour.tints import Tint
from bible.locks.services import follow_chart
from bible.models import ActivityKind, Series, record
from bible.scenes.services import remake_tables
from bible.series.holding import hold_series

if TYPE_CHECKING:
    from django.contrib.auth.models import User


@transaction.atomic
def change_reading(
    *,
    series: Series,
    notation: Notation,
    chart_kind: str,
    house_tints: list[Tint] | None = None,
    by: User | None = None,
) -> None:
    """Change how codes read in a series. What was written stays as it is; it is read anew.

    Rules move along the chart, so scenes' tables and locks that follow a rule are worked out anew as well; ``by`` is
    who is named for that.
    """
    hold_series(series.pk)
    series = Series.objects.get(pk=series.pk)
    series.notation_data = notation.to_dict()
    series.chart_kind = chart_kind
    if house_tints is not None:
        series.chart_data = [tint.packed for tint in house_tints]
    series.save(update_fields=["notation_data", "chart_kind", "chart_data"])
    series.refresh_from_db()
    remake_tables(series)
    follow_chart(series=series, by=by)
    record(ActivityKind.READING_CHANGED, series=series, by=by)
    why = "how codes are read has changed"
    signals.reading_changed.send(sender=Series, series=series, by=by, why=why)
