"""Forms of subjects, costumes and parts."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from bible.models import Costume, Part, Series, Subject
from bible.series.forms import IssueNumberField, SeenMixin, StretchForm
from bible.series.running_order import RunningOrder


class _UniqueNameForm(forms.ModelForm):
    """A form whose ``name`` may stand only once among its siblings, letter case aside."""

    def siblings(self) -> Any:
        raise NotImplementedError

    def clean_name(self) -> str:
        name = " ".join(self.cleaned_data["name"].split())
        taken = self.siblings().filter(name__iexact=name).exclude(pk=self.instance.pk).first()
        if taken:
            archived = ", archived: bring it back or choose another name" if taken.archived_at else ""
            raise ValidationError(f"There is a “{name}” already{archived}.", code="taken")
        return name


class SubjectForm(_UniqueNameForm):
    class Meta:
        model = Subject
        fields = ["kind", "name", "note"]
        widgets = {"note": forms.Textarea(attrs={"rows": 2})}

    def __init__(self, series: Series, *args: Any, **kwargs: Any) -> None:
        self.series = series
        super().__init__(*args, **kwargs)

    def siblings(self) -> Any:
        return self.series.subjects.all()


class CostumeForm(StretchForm, _UniqueNameForm):
    class Meta:
        model = Costume
        fields = ["name"]

    def __init__(self, subject: Subject, *args: Any, **kwargs: Any) -> None:
        self.subject = subject
        self.series = series = subject.series
        super().__init__(*args, **kwargs)
        self.fields["from_issue"] = IssueNumberField(series, required=False, label="Worn from issue")
        self.fields["to_issue"] = IssueNumberField(
            series,
            required=False,
            label="up to and including issue",
            help_text="A signed-off issue in which marks then owe another tint opens again.",
        )
        if self.instance.pk:
            order = RunningOrder.of(series)
            first = order.first_from(self.instance.from_position) if self.instance.from_position else None
            last = order.last_before(self.instance.to_position) if self.instance.to_position else None
            self.initial["from_issue"] = first.number if first else ""
            self.initial["to_issue"] = last.number if last else ""

    def siblings(self) -> Any:
        return self.subject.costumes.all()


class PartForm(_UniqueNameForm):
    class Meta:
        model = Part
        fields = ["name"]

    def __init__(self, costume: Costume, *args: Any, **kwargs: Any) -> None:
        self.costume = costume
        super().__init__(*args, **kwargs)

    def siblings(self) -> Any:
        return self.costume.parts.all()


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
