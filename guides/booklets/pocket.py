"""What the pocket look-up takes along: every code of a series as of its latest issue, small enough for a phone."""

from __future__ import annotations

import datetime as dt
from typing import Any

from bible.models import Series
from bible.series.running_order import AsOf
from guides.booklets.queries import Code, make_book


def pocket_data(series: Series, now: dt.datetime) -> dict[str, Any]:
    """As JSON takes it: ``parts`` in the bible's order, each code with its role, tint in words and printed colour.

    Nothing of it is anybody's own talk: a guest reads the same. The number of queries does not depend on its size.
    """
    book = make_book(series, AsOf.at(series), series.subjects.active(), crops=False)
    fills = book.press.hex

    def code(one: Code) -> dict[str, Any]:
        return {
            "role": one.role_name,
            "code": one.written,
            "tint": str(one.tint),
            "fill": fills(one.tint),
            "also": one.also,
        }

    return {
        "series": series.title,
        "issue": book.as_of.number,
        "made_at": now.isoformat(),
        "press": book.press.title,
        "also": book.also_written,
        "parts": [
            {
                "subject": sheet.subject.name,
                "costume": costume.name,
                "part": part.name,
                "worn": costume.in_use,
                "codes": [code(one) for one in part.codes],
            }
            for sheet in book.sheets
            for costume in sheet.costumes
            for part in costume.parts
        ],
    }
