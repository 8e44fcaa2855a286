"""The continuity report as tables to take along."""

from __future__ import annotations

from collections.abc import Iterator

from bible.exports.tables import Cell, Table, about, person_cell, tint_cells, tint_columns
from bible.models import Edition, Series
from guides.core.exports import CHUNK
from guides.core.in_editions import held_against
from guides.models import MarkQuerySet
from guides.report.queries import Report


def _name(edition: Edition | None) -> str | None:
    return edition.name if edition else None


def differing_table(series: Series, marks: MarkQuerySet, edition: Edition | None) -> Table:
    """Marks behind a number of the continuity report, each with what it needs."""
    role_name = series.roles.name

    def rows() -> Iterator[tuple[Cell, ...]]:
        for mark in marks.in_order().with_names().iterator(CHUNK):
            assert mark.part is not None
            held_against([mark])
            yield (
                mark.guide.issue.number, mark.guide.page, mark.number, *mark.part.names, role_name(mark.role),
                *tint_cells(series, mark.says), *tint_cells(series, mark.expectation),
                person_cell(mark.guide.colourist),
            )  # fmt: skip

    columns = (
        "issue", "page", "mark", "subject", "costume", "part", "role", *tint_columns(), *tint_columns("expected"),
        "colourist",
    )  # fmt: skip
    return Table("differing-marks", columns, rows(), about(series, edition=_name(edition)))


def report_table(report: Report, which: str) -> Table:
    """One of the continuity report's lists: ``colourists``, ``confusions``, else ``subjects`` (a row a drift)."""
    which = which if which in ("colourists", "confusions") else "subjects"
    series = report.series
    facts = about(series, report.press, issues=str(report.run), edition=_name(report.edition), list=which)
    if which == "colourists":
        people = (
            (person.name, person.marks, person.differing, round(person.share, 2)) for person in report.colourists
        )
        return Table("report-colourists", ("colourist", "marks", "differing", "share_percent"), people, facts)
    if which == "confusions":
        pairs = (
            (
                *tint_cells(series, pair.wrote), *tint_cells(series, pair.locked), pair.marks, round(pair.delta_e, 2),
                pair.severity.word,
            )
            for pair in report.pairs
        )  # fmt: skip
        columns: tuple[str, ...] = (*tint_columns("wrote"), *tint_columns("locked"), "marks", "ciede2000", "severity")
        return Table("report-confusions", columns, pairs, facts)

    role_name = series.roles.name

    def drifts() -> Iterator[tuple[Cell, ...]]:
        for line in report.subjects:
            totals = (line.subject.name, line.marks, line.differing, line.allowed, line.parts, line.parts_held)
            for drift in line.drifts:
                yield (
                    *totals, drift.part.costume.name, drift.part.name, role_name(drift.role),
                    *tint_cells(series, drift.wrote), *tint_cells(series, drift.locked), drift.marks,
                    drift.first.number, drift.last.number, drift.goes_on,
                )  # fmt: skip
        for subject in report.held:
            yield (subject.name, None, 0, None, None, None, *((None,) * 17))

    columns = (
        "subject", "marks", "differing", "allowed", "parts", "parts_held", "costume", "part", "role",
        *tint_columns("wrote"), *tint_columns("locked"), "drift_marks", "first_issue", "last_issue", "goes_on",
    )  # fmt: skip
    return Table("report-subjects", columns, drifts(), facts)
