"""What the rooms' tables to take along have in common."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import islice

from guides.models import Guide, Mark, MarkQuerySet

CHUNK = 1_000
"""Marks held at a time."""

NOT_LIKELY = (None,) * 6


def in_chunks(marks: MarkQuerySet) -> Iterator[list[Mark]]:
    rows = marks.iterator(CHUNK)
    while chunk := list(islice(rows, CHUNK)):
        yield chunk


def not_read(waiting: Iterable[Guide]) -> list[dict[str, str]]:
    """Pages of which a file cannot speak yet."""
    return [{"issue": page.issue.number, "page": page.page} for page in waiting]
