"""Found codes that wait as a table to take along."""

from __future__ import annotations

from collections.abc import Iterable

from bible.exports.tables import Table, about
from bible.models import Series
from guides.models import FoundCode


def waiting_table(series: Series, codes: Iterable[FoundCode]) -> Table:
    """In the order of the page; chances from 0 to 1."""
    rows = (
        (
            code.guide.issue.number, code.guide.page, code.code,
            *(code.part.names if code.part else (None, None, None)), code.role or None,
            code.differs, code.expected or None, code.is_sure, round(code.p, 3), round(code.p_part, 3),
        )
        for code in codes
    )  # fmt: skip
    columns = (
        "issue", "page", "code", "subject", "costume", "part", "role", "unlike_the_bible", "expected", "sure",
        "chance_of_code", "chance_of_part",
    )  # fmt: skip
    return Table("found-codes", columns, rows, about(series))
