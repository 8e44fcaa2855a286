"""What has happened, as a table to take along."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from bible.exports.tables import Cell, Table, about, person_cell
from bible.models import Activity, Series


def activity_table(series: Series, deeds: Iterable[Activity]) -> Table:
    """One row a deed, newest first; ``words`` are the names and reasons that were kept with it."""

    def rows() -> Iterator[tuple[Cell, ...]]:
        for deed in deeds:
            part = deed.lock.part if deed.lock else deed.proposal.part if deed.proposal else None
            asked = deed.lock or deed.proposal
            yield (
                deed.at, person_cell(deed.by), deed.room, deed.kind, deed.count,
                deed.subject.name if deed.subject else part.costume.subject.name if part else None,
                part.full_name if part else None, series.roles.name(asked.role) if asked else None,
                series.write(asked.tint) if asked else None, deed.scene.name if deed.scene else None,
                deed.issue.number if deed.issue else None, deed.page or None, deed.mark_number,
                person_cell(deed.person), "; ".join(f"{key}: {value}" for key, value in sorted(deed.words.items())),
            )  # fmt: skip

    columns = (
        "at", "by", "room", "deed", "count", "subject", "part", "role", "code", "scene", "issue", "page", "mark",
        "concerning", "words",
    )  # fmt: skip
    return Table("activity", columns, rows(), about(series))
