"""The form that chooses flags."""

from __future__ import annotations

from typing import Any

from django import forms

from bible.colour.difference import SEVERITY_BANDS
from bible.models import Series
from bible.series.forms import IssueNumberField
from guides.models import PAGE_LABEL_LENGTH, FlagKind


class FlagFilterForm(forms.Form):
    """Which flags."""

    kind = forms.ChoiceField(required=False, choices=[("", "all kinds"), *FlagKind.choices])
    severity = forms.ChoiceField(
        required=False, choices=[("", "all"), *((band.word, band.word) for band in SEVERITY_BANDS)]
    )
    standing = forms.ChoiceField(required=False, choices=[("", "open"), ("waived", "waived")])
    first_page = forms.CharField(required=False, max_length=PAGE_LABEL_LENGTH, label="Pages from")
    last_page = forms.CharField(required=False, max_length=PAGE_LABEL_LENGTH, label="to")

    def __init__(self, series: Series, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["issue"] = IssueNumberField(series, required=False)
        self.fields["subject"] = forms.ModelChoiceField(
            series.subjects.order_by("name"), required=False, empty_label="all subjects"
        )
        for name in ("issue", "first_page", "last_page"):
            self.fields[name].widget.attrs["size"] = 5
        self.order_fields(["issue", "first_page", "last_page", "subject", "kind", "severity", "standing"])
