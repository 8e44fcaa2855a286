"""A subject's years as a table to take along."""

from __future__ import annotations

from collections.abc import Iterator

from bible.exports.tables import Cell, Table, about, tint_cells, tint_columns
from bible.models import Series, Subject
from guides.timeline.queries import Band, Timeline


def timeline_table(series: Series, subject: Subject, timeline: Timeline) -> Table:
    """What the marks of each issue said of each part, beside what is locked; a lock that no mark met too."""

    def locked(band: Band | None) -> tuple[Cell, ...]:
        return (*tint_cells(series, band.lock.tint), band.span) if band else (None,) * 6

    def rows() -> Iterator[tuple[Cell, ...]]:
        for lane in timeline.lanes:
            named = (lane.part.costume.name, lane.part.name, lane.role.name)
            met = set()
            for column in lane.columns:
                band = lane.band_at(column.issue)
                met.add(band)
                for share in column.said:
                    standing = share.kind.value if share.kind else "agrees"
                    yield (
                        *named, column.issue.number, *locked(band), *tint_cells(series, share.tint),
                        *tint_cells(series, share.expected), standing, share.waived, share.count,
                    )  # fmt: skip
            for band in lane.bands:
                if band not in met:
                    yield (*named, None, *locked(band), *((None,) * 12), 0)

    columns = (
        "costume", "part", "role", "issue", *tint_columns("locked"), "locked_issues", *tint_columns(),
        *tint_columns("expected"), "standing", "waived", "marks",
    )  # fmt: skip
    return Table(f"subject-{subject.pk}-timeline", columns, rows(), about(series, subject=subject.name))
