"""What a change of notation or chart would do to the marks of a series, worked out before anybody saves it."""

from __future__ import annotations

from dataclasses import dataclass

from bible.colour.charts import Chart
from bible.colour.notation import Notation, readings_that_change
from bible.colour.tints import Tint
from bible.fields import NoTint
from bible.models import Lock, Series
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
        opens, closes: flags that would appear and go.
        locks_off: locked tints that are not on the new chart.
        unwritten: percentages of the new chart for which the notation has no figure.
    """

    changes: tuple[TextChange, ...]
    marks: int
    issues: tuple[tuple[str, int], ...]
    opens: int
    closes: int
    locks_off: tuple[Tint, ...]
    unwritten: tuple[int, ...]

    @property
    def shown(self) -> tuple[TextChange, ...]:
        return self.changes[:TEXTS_SHOWN]

    @property
    def issues_shown(self) -> tuple[tuple[str, int], ...]:
        return self.issues[:ISSUES_SHOWN]


def preview(series: Series, notation: Notation, chart: Chart) -> ReadingPreview:
    """Which standing marks would read differently, and which flags would open or close.

    Grouped in SQL: the work grows with the number of different texts, not of marks.
    """
    marks = Mark.objects.filter(series=series).live()
    counts = marks.counts_by_text()
    found = readings_that_change(counts, series.notation, notation, series.chart, chart)
    changes = [
        TextChange(one.text, one.before or NoTint.UNREADABLE, one.after or NoTint.UNREADABLE, counts[one.text])
        for one in found
    ]
    changes.sort(key=lambda change: (-change.marks, change.text))
    by_text = {change.text: change for change in changes}
    opens = closes = 0
    by_position: dict[int, int] = {}
    if by_text:
        for text, expected, number in marks.counts_by_text_and_expectation():
            if change := by_text.get(text):
                opens += number * (change.before == expected != change.after)
                closes += number * (change.before != expected == change.after)
        for text, position, number in marks.counts_by_text_and_position():
            if text in by_text:
                by_position[position] = by_position.get(position, 0) + number
    numbers = series.issues.filter(position__in=by_position).order_by("-position").values_list("number", "position")
    locked = Lock.objects.filter(series=series).standing().order_by().values_list("tint", flat=True).distinct()
    figured = {0, *(percent for _, percent in notation.steps)}
    levels = {level for ink in "cmy" for level in chart.levels(ink)}
    return ReadingPreview(
        changes=tuple(changes),
        marks=sum(change.marks for change in changes),
        issues=tuple((number, by_position[position]) for number, position in numbers),
        opens=opens,
        closes=closes,
        locks_off=tuple(sorted(tint for tint in locked if tint not in chart)),
        unwritten=tuple(sorted(levels - figured)) if notation.style == "letters" else (),
    )
