"""The marks of a page as a table to take along."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

from bible.colour.press import PressCondition
from bible.exports.tables import Cell, Table, about, tint_cells, tint_columns
from bible.models import Series
from guides.models import Guide


def marks_table(series: Series, guide: Guide, rows: Iterable[Any], press: PressCondition) -> Table:
    """The list of marks beneath a page guide. What can be brought back is the hand-off's own file of marks."""
    role_name = series.roles.name

    def lines() -> Iterator[tuple[Cell, ...]]:
        for row in rows:
            mark, flag = row.mark, row.flag
            against = flag.kind.value if flag else "agrees" if row.state == "agrees" else None
            yield (
                mark.number, mark.both_written, *tint_cells(series, mark.tint), *tint_cells(series, mark.to_tint),
                *(mark.part.names if mark.part else (None, None, None)), role_name(mark.role) if mark.part else None,
                against,
                mark.waived, *tint_cells(series, mark.expectation if flag else None),
                round(flag.delta_e, 2) if flag and flag.delta_e is not None else None,
                flag.severity.word if flag and flag.severity else None, row.paint_odd, mark.let_in,
            )  # fmt: skip

    columns = (
        "mark", "written", *tint_columns(), *tint_columns("fades_to"), "subject", "costume", "part", "role",
        "against_the_bible", "waived", *tint_columns("expected"), "ciede2000", "severity", "paint_disagrees",
        "let_in",
    )  # fmt: skip
    facts = about(series, press, issue=guide.issue.number, page=guide.page, revision=guide.revision)
    return Table(f"page-{guide.pk}-marks", columns, lines(), facts)
