"""The form that moves an issue."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from bible.models import Issue
from bible.series.forms import IssueNumberField


class MoveIssueForm(forms.Form):
    """Behind which issue another one is to stand."""

    seen = forms.CharField(required=False, max_length=60, widget=forms.HiddenInput)

    def __init__(self, issue: Issue, *args: Any, **kwargs: Any) -> None:
        self.issue = issue
        super().__init__(*args, **kwargs)
        self.fields["after"] = IssueNumberField(
            issue.series, required=False, label="Behind issue", help_text="Empty: it becomes the first."
        )

    def clean_after(self) -> Issue | None:
        after = self.cleaned_data["after"]
        if after and after.pk == self.issue.pk:
            raise ValidationError("It cannot stand behind itself.", code="itself")
        return after
