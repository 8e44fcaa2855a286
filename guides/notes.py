"""Notes where people work: those of a mark and of the lock it is held against, and those of a subject's marks."""

from __future__ import annotations

from typing import Any

from bible.models import LockNote, Series, Subject
from guides.models import Mark, MarkNote

NOTES_SHOWN = 60


def notes_of(mark: Mark, *, new: bool = False) -> dict[str, Any]:
    """What the panel shows beside a mark: its own notes, and those of the decision in force for it. A ``new`` one
    has none of its own."""
    held = LockNote.objects.of_decision(mark.lock).with_writers() if mark.lock else []
    return {"notes": [] if new else mark.notes.with_writers(), "lock_notes": held}


def notes_of_subject(series: Series, subject: Subject) -> list[MarkNote]:
    """The newest notes beside marks of a subject's parts, newest first, with where they are."""
    found = MarkNote.objects.filter(series=series, mark__part__costume__subject=subject).with_writers()
    placed = found.select_related("mark__guide__issue", "mark__part__costume", "written_by")
    return list(placed.order_by("-id")[:NOTES_SHOWN])
