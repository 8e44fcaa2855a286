"""Areas that sink into their neighbour, as a table to take along."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from django.db.models import QuerySet

from bible.colour.press import PressCondition
from bible.exports.tables import Cell, Table, about, person_cell, tint_cells, tint_columns
from bible.models import Series
from guides.core.exports import CHUNK, not_read
from guides.models import Guide, SinkingPair


def sinking_table(
    series: Series, pairs: QuerySet[SinkingPair], waiting: Iterable[Guide], press: PressCondition
) -> Table:
    """Marked areas that touch and print look-alike; x and y, fractions of the page, lie on their common border."""

    def rows() -> Iterator[tuple[Cell, ...]]:
        for pair in pairs.in_order().with_names().iterator(CHUNK):  # type: ignore[attr-defined]
            guide = pair.first.guide
            sides = [
                (mark.number, *tint_cells(series, mark.tint), *(mark.part.names if mark.part else (None,) * 3))
                for mark in pair.sides
            ]
            yield (
                guide.issue.number, guide.page, *sides[0], *sides[1], pair.word, pair.risk, pair.difference, pair.x,
                pair.y, pair.border, person_cell(pair.waived_by), pair.waived_at, pair.reason or None,
                person_cell(guide.colourist),
            )  # fmt: skip

    named = ("subject", "costume", "part")
    columns = (
        "issue", "page", "mark", *tint_columns(), *named, "beside_mark", *tint_columns("beside"),
        *(f"beside_{name}" for name in named), "likeness", "risk", "ciede2000", "x", "y", "border", "waived_by",
        "waived_at", "reason", "colourist",
    )  # fmt: skip
    facts = about(series, press, pages_not_looked_at=not_read(waiting))
    return Table("sinks-into-its-neighbour", columns, rows(), facts)
