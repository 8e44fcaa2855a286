"""Notes on marks, and so on their flags."""

from __future__ import annotations

from django.db import models

from bible.models import Note
from guides.core.models.marks import Mark


class MarkNote(Note):
    mark = models.ForeignKey(Mark, on_delete=models.PROTECT, related_name="notes")

    class Meta(Note.Meta):
        indexes = [models.Index(fields=["series", "written_at"], name="guides_note_when")]
