"""Writing a note."""

from __future__ import annotations

from django import forms

from bible.models.notes import NOTE_LENGTH


class NoteForm(forms.Form):
    text = forms.CharField(label="Note", max_length=NOTE_LENGTH, widget=forms.Textarea(attrs={"rows": 2}))
