"""Forms of things that two people may have open at once: what was shown goes along, and is compared when saving."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from bible.forms.base import CostumeForm, PartForm, SubjectForm
from bible.models import Costume, Issue, Series
from bible.running_order import RunningOrder
from bible.services import StaleEdit, fingerprint


class SeenMixin(forms.ModelForm):
    """Adds what the form was filled from. ``compared`` are the columns that it saves."""

    compared: tuple[str, ...]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["seen"] = forms.CharField(required=False, max_length=64, widget=forms.HiddenInput)
        self.initial["seen"] = fingerprint(self.instance, self.compared)

    @property
    def edit(self) -> dict[str, Any]:
        """The arguments of ``services.save_edit`` that this form has answered."""
        return {"row": self.instance, "fields": self.compared, "seen": self.cleaned_data["seen"]}

    def show(self, stale: StaleEdit) -> None:
        """Say what stands there now; what was typed stays, and the form sent again has seen it."""
        self.add_error(
            None,
            f"{stale} Now it says: {self.words(stale.stored)}. What you wrote is still here: save it again to "
            "replace that.",
        )
        self.data = dict(self.data.items()) | {"seen": fingerprint(stale.stored, self.compared)}

    def words(self, stored: Any) -> str:
        """What a row says, field by field."""
        said = []
        for name in self._meta.fields or ():
            value = getattr(stored, f"get_{name}_display", lambda name=name: getattr(stored, name))()
            said.append(f"{self.fields[name].label} “{'' if value is None else value}”")
        return ", ".join(said)


class EditSubjectForm(SeenMixin, SubjectForm):
    compared = ("kind", "name", "note")


class EditCostumeForm(SeenMixin, CostumeForm):
    compared = ("name", "from_position", "to_position")

    @property
    def edit(self) -> dict[str, Any]:
        for name in ("from_position", "to_position"):
            setattr(self.instance, name, self.cleaned_data[name])
        return super().edit | {"places": self.places}

    def words(self, stored: Costume) -> str:
        return f"{super().words(stored)}, worn {RunningOrder.of(self.subject.series).span(stored)}"


class EditPartForm(SeenMixin, PartForm):
    compared = ("name",)


class EditIssueForm(SeenMixin):
    compared = ("number", "title", "published")

    class Meta:
        model = Issue
        fields = ["number", "title", "published"]
        widgets = {"published": forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")}

    def clean_number(self) -> str:
        number = " ".join(self.cleaned_data["number"].split())
        series = self.instance.series
        if series.issues.filter(number__iexact=number).exclude(pk=self.instance.pk).exists():
            raise ValidationError(f"{series} has an issue {number} already.", code="taken")
        return number


class EditSeriesForm(SeenMixin):
    compared = ("title",)

    class Meta:
        model = Series
        fields = ["title"]
