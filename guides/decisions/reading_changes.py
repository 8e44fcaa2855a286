"""What a change of notation or chart would do to the marks of a series, worked out before anybody saves it."""

from __future__ import annotations

import json
from collections import Counter
from dataclasses import dataclass
from typing import Any

from bible.chart.services import change_reading
from bible.colour.charts import STANDARD_CHARTS, Chart
from bible.colour.notation import Notation, readings_that_change
from bible.colour.tints import Tint
from bible.models import Lock, Series
from bible.models.fields import NoTint
from bible.web.digest import digest
from guides.core.impact import Impact, rehearse
from guides.models import Mark

TEXTS_SHOWN = 200
ISSUES_SHOWN = 60


@dataclass(frozen=True, slots=True)
class TextChange:
    """A code as written, on how many marks, and what it says before and after."""

    text: str
    before: Tint | NoTint
    after: Tint | NoTint
    marks: int


@dataclass(frozen=True, slots=True)
class ReadingPreview:
    """The consequences of new settings.

    Attributes:
        changes: texts that would read differently, the commonest first; ``shown`` of them fit on a page.
        marks: how many marks that is.
        issues: (issue number, marks) in running order, the newest issues first.
        impact: flags that would open and close, issue by issue; rules that move along the chart are followed.
        locks_off: locked tints that are not on the new chart.
        unwritten: percentages of the new chart for which the notation has no figure.
    """

    changes: tuple[TextChange, ...]
    marks: int
    issues: tuple[tuple[str, int], ...]
    impact: Impact
    locks_off: tuple[Tint, ...]
    unwritten: tuple[int, ...]

    @property
    def shown(self) -> tuple[TextChange, ...]:
        return self.changes[:TEXTS_SHOWN]

    @property
    def opens(self) -> int:
        return self.impact.opens

    @property
    def closes(self) -> int:
        return self.impact.closes

    @property
    def token(self) -> str:
        """Stands for exactly this answer."""
        texts = [[change.text, change.marks, str(change.before), str(change.after)] for change in self.changes]
        content = [texts, self.issues, self.impact.token, [tint.packed for tint in self.locks_off]]
        return digest(json.dumps(content))

    @property
    def issues_shown(self) -> tuple[tuple[str, int], ...]:
        return self.issues[:ISSUES_SHOWN]


def preview(series: Series, notation: Notation, chart: Chart) -> ReadingPreview:
    """Which standing marks would read differently, and which flags would open or close.

    Both codes of a gradient count; flags are about the first. Texts are grouped in SQL; flags are found by carrying
    the change out and rolling it back, since scenes and rules move along the chart too.
    """
    marks = Mark.objects.filter(series=series).live()
    texts = list(marks.counts_by_texts())
    counts: Counter[str] = Counter()
    for written, faded, number in texts:
        counts.update(dict.fromkeys({written, faded or written}, number))
    readings = readings_that_change(counts, series.notation, notation, series.chart, chart)
    changes = {
        reading.text: TextChange(
            reading.text,
            reading.before or NoTint.UNREADABLE,
            reading.after or NoTint.UNREADABLE,
            counts[reading.text],
        )
        for reading in readings
    }
    by_position: Counter[int] = Counter()
    if changes:
        for written, faded, position, number in marks.counts_by_texts_and_position():
            by_position[position] += number * (written in changes or faded in changes)
    by_position = +by_position
    numbers = (
        series.issues.filter(position__in=list(by_position)).order_by("-position").values_list("number", "position")
    )
    locked = Lock.every_printing.filter(series=series).standing().order_by().values_list("tint", flat=True).distinct()
    unwritten = {level for ink in "cmy" for level in chart.levels(ink)} - {0, *notation.figure_of}
    unwritten |= set(chart.levels("k")) - {0, *notation.key_figure_of}
    return ReadingPreview(
        changes=tuple(sorted(changes.values(), key=lambda change: (-change.marks, change.text))),
        marks=by_position.total(),
        issues=tuple((number, by_position[position]) for number, position in numbers),
        impact=rehearse(series, lambda: change_reading(series=series, **_settings(notation, chart))),
        locks_off=tuple(sorted(tint for tint in locked if tint not in chart)),
        unwritten=tuple(sorted(unwritten)) if notation.style == "letters" else (),
    )


def _settings(notation: Notation, chart: Chart) -> dict[str, Any]:
    """The arguments of ``services.change_reading`` that ask for a notation and a chart."""
    if chart.name in STANDARD_CHARTS:
        return {"notation": notation, "chart_kind": chart.name}
    house = Series.ChartKind.HOUSE.value
    return {"notation": notation, "chart_kind": house, "house_tints": list(chart.tints)}
