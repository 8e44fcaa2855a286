"""The form of an edition."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from bible.editions.services import issues_said, seen_of
from bible.models import Edition, Issue, Series
from bible.series.forms import press_choices
from bible.series.refusals import Refused
from bible.series.running_order import RunningOrder


class EditionForm(forms.ModelForm):
    """Its name, what it prints on, and which issues it collects, said in runs."""

    press = forms.ChoiceField(required=False, label="Printed on")
    collects = forms.CharField(
        max_length=2_000, label="Issues it collects", help_text="By their numbers: 1 - 6; 8. At least one."
    )
    seen = forms.CharField(required=False, max_length=20_000, widget=forms.HiddenInput)
    field_order = ["name", "press", "collects", "published", "note", "seen"]

    class Meta:
        model = Edition
        fields = ["name", "press", "published", "note"]
        widgets = {"published": forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")}

    def __init__(self, series: Series, *args: Any, **kwargs: Any) -> None:
        self.series = series
        super().__init__(*args, **kwargs)
        self.instance.series = series
        self.fields["press"].choices = press_choices(series)  # type: ignore[attr-defined]
        if self.instance.pk:
            self.initial.update(collects=issues_said(self.instance), seen=seen_of(self.instance))

    def clean_name(self) -> str:
        name = " ".join(self.cleaned_data["name"].split())
        if self.series.editions.filter(name__iexact=name).exclude(pk=self.instance.pk).exists():
            raise ValidationError(f"There is an edition “{name}” already.", code="taken")
        return name

    def clean_collects(self) -> list[Issue]:
        try:
            issues = RunningOrder.of(self.series).read_runs(self.cleaned_data["collects"])
        except Refused as refusal:
            raise ValidationError(str(refusal), code="unknown") from refusal
        if not issues:
            raise ValidationError("Say which issues it collects.", code="required")
        return issues
