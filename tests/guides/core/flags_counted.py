"""A mark as it stands now, and the flags of a series counted, open and waived."""

from __future__ import annotations

from bible.models import Series
from guides.core import continuity
from guides.models import Mark


def fresh(mark: Mark) -> Mark:
    return Mark.objects.get(pk=mark.pk)


def counts(series: Series) -> tuple[int, int]:
    assert continuity.discrepancies(series) == []
    marks = Mark.objects.filter(series=series)
    return marks.open().count(), marks.waived().count()
