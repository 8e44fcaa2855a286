"""Forms of scenes."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from bible.locks.forms import RuleMixin
from bible.models import Scene, Series


class SceneForm(forms.ModelForm, RuleMixin):
    reason = forms.CharField(max_length=300, required=False, help_text="Why: it is read years later.")
    seen = forms.IntegerField(widget=forms.HiddenInput, required=False)

    class Meta:
        model = Scene
        fields = ["name", "note"]

    def __init__(self, series: Series, *args: Any, **kwargs: Any) -> None:
        self.series = series
        super().__init__(*args, **kwargs)
        self.instance.series = series
        self.add_rule_fields(series, self.instance.rule)

    def clean_name(self) -> str:
        name = " ".join(self.cleaned_data["name"].split())
        if self.series.scenes.filter(name__iexact=name).exclude(pk=self.instance.pk).exists():
            raise ValidationError(f"There is a scene “{name}” already.", code="taken")
        return name

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        if not self.rule and not self.errors:
            raise ValidationError("Say what happens to at least one ink.", code="empty")
        return data
