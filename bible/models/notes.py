"""What people write beside the things they decide."""

from __future__ import annotations

from typing import Any, Self

from django.conf import settings
from django.db import models

from bible.models.locks import Lock
from bible.models.series import Series

NOTE_LENGTH = 2_000


class NoteQuerySet(models.QuerySet[Any]):
    def with_writers(self) -> Self:
        return self.select_related("written_by").order_by("id")


class LockNoteQuerySet(NoteQuerySet):
    def of_decision(self, lock: Lock) -> Self:
        """Notes on a decision, whichever of its rows they were written on: what is left of a lock's time after a
        later decision stands on as a row of its own, and the notes are still about it."""
        same = {"lock__part": lock.part_id, "lock__role": lock.role, "lock__decided_at": lock.decided_at}
        return self.filter(series=lock.series_id, lock__decided_by=lock.decided_by_id, **same)


class Note(models.Model):
    """A remark with its writer and time; never edited."""

    series = models.ForeignKey(Series, on_delete=models.PROTECT, related_name="+")
    text = models.TextField("note", max_length=NOTE_LENGTH)
    written_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    written_at = models.DateTimeField(auto_now_add=True)

    objects = NoteQuerySet.as_manager()

    class Meta:
        abstract = True
        ordering = ["id"]

    def __str__(self) -> str:
        return self.text[:60]


class LockNote(Note):
    lock = models.ForeignKey(Lock, on_delete=models.PROTECT, related_name="notes")

    objects = LockNoteQuerySet.as_manager()  # type: ignore[misc]

    class Meta(Note.Meta):
        indexes = [models.Index(fields=["series", "written_at"], name="bible_note_when")]
