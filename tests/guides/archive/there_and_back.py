"""A series out and in again, and its tables to compare."""

from __future__ import annotations

from pathlib import Path

from bible.models import Series
from guides.archive.check import Archive
from guides.archive.exports import export_series
from guides.archive.restore import Restored, restore_series


def there_and_back(series: Series, folder: Path, slug: str = "brought-back") -> Restored:
    export_series(series, folder / "series.zip")
    return restore_series(Archive.open(folder / "series.zip"), slug=slug)
