"""A second opinion on the counts of tints: every mark read anew, counted by a loop, and held against the table."""

from __future__ import annotations

from collections import Counter

from bible.colour.tints import Tint
from bible.models import Series
from bible.models.fields import NoTint
from guides.core.continuity import read
from guides.core.counts import Key, stored
from guides.models import NOBODY, Mark, UseKind


def plain_recount(series: Series) -> Counter[Key]:
    """What the marks count for, each read anew from its text."""
    readings: dict[str, Tint | NoTint] = {}
    uses: Counter[Key] = Counter()
    of_issues_at_work = Mark.objects.filter(series=series, guide__issue__archived_at=None)
    rows = of_issues_at_work.filter(deleted_at=None, guide__is_current=True).values_list(
        "written", "to_written", "part_id", "role", "guide__issue_id", "guide__colourist_id"
    )
    for written, to_written, part_id, role, issue, colourist in rows.iterator(2000):
        for text in (written, to_written):
            if text not in readings:
                readings[text] = read(series, text)
        for tint in {readings[written], readings[to_written or written]}:
            uses[series.pk, issue, tint, UseKind.of(part_id, role).value, colourist or NOBODY] += 1
    return uses


def discrepancies(series: Series) -> list[tuple[Key, int, int]]:
    """(key, stored, counted by the plain loop) wherever the two are not the same."""
    kept_there = stored(series)
    counted = plain_recount(series)
    return [
        (key, kept_there[key], counted[key])
        for key in sorted(kept_there.keys() | counted.keys(), key=str)
        if kept_there[key] != counted[key]
    ]
