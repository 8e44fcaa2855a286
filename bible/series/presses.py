"""The press conditions a series can choose from: those that ship, and those it brought itself."""

from __future__ import annotations

import datetime as dt
from functools import lru_cache

from bible.colour import press, pressfile
from bible.colour.press import PressCondition, PressInfo
from bible.models import Edition, Issue, PressUpload, Series


@lru_cache(maxsize=64)
def _uploaded(pk: int, brought_at: dt.datetime) -> PressCondition:
    """A stored condition never changes, so what was read once can be kept; the moment tells it from the row that had
    this key in a database which was here before."""
    return pressfile.loads(PressUpload.objects.get(pk=pk).text)


def available(series: Series) -> list[PressInfo]:
    own = [PressInfo(row.name, row.title, row.source) for row in series.press_uploads.order_by("title")]
    return [*press.available(), *own]


def condition(series: Series, name: str = "") -> PressCondition:
    """The named condition as this series knows it, its chosen one without a name. Raises ``UnknownPress``."""
    name = name or series.press
    try:
        return press.load(name)
    except press.UnknownPress:
        upload = series.press_uploads.filter(name=name).only("pk", "uploaded_at").first()
        if upload is None:
            raise
        return _uploaded(upload.pk, upload.uploaded_at)


def printed_on(issue: Issue, edition: Edition | None = None) -> PressCondition:
    """What an issue prints on: its own condition, or the series'; in an edition that one's."""
    return condition(issue.series, edition.press if edition else issue.press)
