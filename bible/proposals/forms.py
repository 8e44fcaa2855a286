"""Asking for a lock, and answering."""

from __future__ import annotations

import re
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from bible.locks.forms import LockForm
from bible.models import Part


class ProposalForm(LockForm):
    """A lock asked for: the lock's own form, with a note for the lead in place of the reason."""

    note = forms.CharField(max_length=300, required=False, help_text="What you saw, or why you ask.")
    seen_url = forms.CharField(required=False, max_length=200, widget=forms.HiddenInput)
    field_order = ["role", "code", "from_issue", "to_issue", "note", "seen_url"]

    def __init__(self, part: Part, *args: Any, **kwargs: Any) -> None:
        super().__init__(part, *args, **kwargs)
        del self.fields["reason"], self.fields["seen"], self.initial["seen"]

    def clean_seen_url(self) -> str:
        """Only the address of a mark of this series: it becomes a link on the lead's page."""
        url = self.cleaned_data["seen_url"]
        if url and not re.fullmatch(rf"/s/{re.escape(self.series.slug)}/guides/\d+/\?mark=\d+", url):
            raise ValidationError("That is not a mark of this series.", code="invalid")
        return url

    def asked(self) -> dict[str, Any]:
        """The fields of the proposal."""
        tint, written = self.cleaned_data["code"]
        kept = ("role", "from_position", "to_position", "note", "seen_url")
        seen_at = "the mark it comes from" if self.cleaned_data["seen_url"] else ""
        answers = {name: self.cleaned_data[name] for name in kept}
        return {"tint": tint, "written": written, "seen_at": seen_at} | answers


class AnswerForm(forms.Form):
    answer = forms.CharField(max_length=300)
