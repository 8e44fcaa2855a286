"""Notes beside decisions."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import transaction

from bible.models import ActivityKind, Lock, LockNote, record

if TYPE_CHECKING:
    from django.contrib.auth.models import User


@transaction.atomic
def note_on_lock(*, lock: Lock, text: str, by: User) -> LockNote:
    """Write a note beside a decision, one that holds or one of the history."""
    note = LockNote.objects.create(series_id=lock.series_id, lock=lock, text=text, written_by=by)
    subject = lock.part.costume.subject
    record(
        ActivityKind.NOTED,
        series=lock.series_id,
        by=by,
        lock=lock,
        subject=subject,
        person=lock.decided_by,
        words={"text": text},
    )
    return note
