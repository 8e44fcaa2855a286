"""What the paint says, as a table to take along."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from django.db.models import QuerySet

from bible.exports.tables import Cell, Table, about, tint_cells, tint_columns
from bible.models import Issue, Series
from guides.core.exports import CHUNK, NOT_LIKELY, not_read
from guides.models import Guide, PaintReading
from guides.paint.services import told as told_by_paint


def paint_table(
    series: Series, readings: QuerySet[PaintReading], waiting: Iterable[Guide], issue: Issue | None
) -> Table:
    """Marks whose paint disagrees with their code, and the two likeliest codes of the paint; chances are 0 to 1."""
    role_name = series.roles.name

    def rows() -> Iterator[tuple[Cell, ...]]:
        for reading in readings.iterator(CHUNK):
            mark, voice = reading.mark, told_by_paint(reading)
            likely = [(*tint_cells(series, code.tint), round(code.p, 3)) for code in voice.likely[:2]]
            first, second = [*likely, NOT_LIKELY, NOT_LIKELY][:2]
            yield (
                mark.guide.issue.number, mark.guide.page, mark.number,
                *(mark.part.names if mark.part else (None, None, None)), role_name(mark.role) if mark.part else None,
                mark.both_written, *tint_cells(series, mark.tint), *first, *second, round(voice.wrong, 3),
            )  # fmt: skip

    columns = (
        "issue", "page", "mark", "subject", "costume", "part", "role", "written", *tint_columns(),
        *tint_columns("paint"), "paint_chance", *tint_columns("or_paint"), "or_paint_chance", "chance_wrong",
    )  # fmt: skip
    facts = about(series, issue=issue.number if issue else None, pages_not_read=not_read(waiting))
    facts["caution"] = "The code counts, the paint only asks for a second look."
    return Table(f"issue-{issue.pk}-paint" if issue else "paint", columns, rows(), facts)
