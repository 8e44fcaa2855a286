"""What people write beside the things they decide."""

from __future__ import annotations

from django.conf import settings
from django.db import models

from bible.models.locks import Lock
from bible.models.series import Series

NOTE_LENGTH = 2_000


class Note(models.Model):
    """A remark with its writer and time; never edited."""

    series = models.ForeignKey(Series, on_delete=models.PROTECT, related_name="+")
    text = models.TextField("note", max_length=NOTE_LENGTH)
    written_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    written_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        abstract = True
        ordering = ["id"]

    def __str__(self) -> str:
        return self.text[:60]


class LockNote(Note):
    lock = models.ForeignKey(Lock, on_delete=models.PROTECT, related_name="notes")

    class Meta(Note.Meta):
        indexes = [models.Index(fields=["series", "written_at"], name="bible_note_when")]
