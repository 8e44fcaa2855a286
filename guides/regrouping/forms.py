"""What is merged with what, moved where, which marks are given to which part. ``deed``: what a form asks for."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from bible.models import Costume, Part, Subject
from bible.series.running_order import LATEST
from bible.series.things import title_of
from guides.core.forms import PartField
from guides.core.runs import RunField
from guides.models import Mark, MarkQuerySet
from guides.regrouping.queries import collisions, pairs_of
from guides.regrouping.services import merge_parts, merge_subjects, move_costume, move_part, parts_of, reassign_marks

REASON_LENGTH = 300


class _RegroupingForm(forms.Form):
    """One sort of deed about a subject; ``name`` tells them apart on their page."""

    name = ""
    title = ""
    button = ""

    def __init__(self, subject: Subject, data: Any = None) -> None:
        self.subject, self.series = subject, subject.series
        asked = data if data is not None and data.get("deed") == self.name else None
        super().__init__(asked, auto_id=f"id_{self.name}_%s")
        self.fill()
        self.fields["reason"] = forms.CharField(
            max_length=REASON_LENGTH, required=False, help_text="It is read years later."
        )

    def fill(self) -> None:
        """Its own fields."""

    def deed(self, by: Any) -> Callable[[], object]:
        raise NotImplementedError

    def parts(self) -> set[int]:
        """Those whose marks it touches: of everything that its fields name."""
        named = (value for value in self.cleaned_data.values() if isinstance(value, Subject | Costume | Part))
        return parts_of(self.subject, *named) if self.name == "merge" else parts_of(*named)

    def collisions(self) -> list[str]:
        """In words, what stands against each other where two become one."""
        return []

    @property
    def said(self) -> dict[str, Any]:
        return {"reason": self.cleaned_data["reason"]}

    def own_parts(self) -> PartField:
        return PartField(self.series, LATEST, widget=forms.TextInput(attrs={"list": "own-parts"}))

    def any_part(self) -> PartField:
        return PartField(self.series, LATEST, widget=forms.TextInput(attrs={"list": "all-parts"}))

    def clean_part(self) -> Part:
        part = self.cleaned_data["part"]
        if part.costume.subject_id != self.subject.pk:
            raise ValidationError(f"{part.full_name} is none of {self.subject}.")
        return part


class MergeSubjectForm(_RegroupingForm):
    name = "merge"
    title = "It turns out to be another subject"
    button = "Merge them"

    def fill(self) -> None:
        others = self.series.subjects.active().exclude(pk=self.subject.pk)
        self.fields["target"] = forms.ModelChoiceField(others, label="It is")

    def collisions(self) -> list[str]:
        return list(collisions(pairs_of(self.subject, self.cleaned_data["target"])))

    def deed(self, by: Any) -> Callable[[], object]:
        target = self.cleaned_data["target"]
        return partial(afresh, partial(merge_subjects, by=by, source=self.subject, target=target, **self.said))


class MoveCostumeForm(_RegroupingForm):
    name = "costume"
    title = "A costume belongs to another subject"
    button = "Move the costume"

    def fill(self) -> None:
        self.fields["costume"] = forms.ModelChoiceField(self.subject.costumes.active())
        others = self.series.subjects.active().exclude(pk=self.subject.pk)
        self.fields["subject"] = forms.ModelChoiceField(others, required=False, label="belongs to")
        self.fields["new_name"] = forms.CharField(
            max_length=Subject._meta.get_field("name").max_length, required=False, label="or to a new subject called"
        )

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        if not self.errors and bool(data.get("subject")) == bool(data.get("new_name")):
            raise ValidationError("Say one of the two: a subject that is there, or the name of a new one.")
        return data

    def deed(self, by: Any) -> Callable[[], object]:
        arguments = {name: self.cleaned_data[name] for name in ("costume", "subject", "new_name")}
        return partial(afresh, partial(move_costume, by=by, **arguments, **self.said))


class MovePartForm(_RegroupingForm):
    name = "part"
    title = "A part belongs to another costume"
    button = "Move the part"

    def fill(self) -> None:
        self.fields["part"] = self.own_parts()
        costumes = Costume.objects.active().filter(subject__series=self.series, subject__archived_at=None)
        ordered = costumes.select_related("subject").order_by("subject__name", "rank", "pk")
        field = forms.ModelChoiceField(ordered, label="belongs to")
        field.label_from_instance = title_of  # type: ignore[method-assign,assignment]
        self.fields["costume"] = field

    def deed(self, by: Any) -> Callable[[], object]:
        arguments = {name: self.cleaned_data[name] for name in ("part", "costume")}
        return partial(afresh, partial(move_part, by=by, **arguments, **self.said))


class MergePartForm(_RegroupingForm):
    name = "same"
    title = "Two parts turn out to be one"
    button = "Merge the parts"

    def fill(self) -> None:
        self.fields["part"] = self.own_parts()
        self.fields["target"] = self.any_part()
        self.fields["target"].label = "is the same as"

    def collisions(self) -> list[str]:
        return list(collisions([(self.cleaned_data["part"], self.cleaned_data["target"])]))

    def deed(self, by: Any) -> Callable[[], object]:
        source, target = self.cleaned_data["part"], self.cleaned_data["target"]
        return partial(afresh, partial(merge_parts, by=by, source=source, target=target, **self.said))


class ReassignForm(_RegroupingForm):
    name = "marks"
    title = "Some marks belong to another part"
    button = "Give the marks to it"

    def fill(self) -> None:
        self.fields["part"] = self.own_parts()
        self.fields["part"].label = "Marks of"
        self.fields["issues"] = RunField(self.series, required=False, help_text="57, 40-60, 40-; empty: every issue.")
        self.fields["page"] = forms.CharField(max_length=30, required=False, help_text="Empty: every page.")
        self.fields["written"] = forms.CharField(
            max_length=80, required=False, label="Code as written", help_text="Empty: every code."
        )
        self.fields["target"] = self.any_part()
        self.fields["target"].label = "belong to"

    def among(self) -> MarkQuerySet:
        answers = self.cleaned_data
        marks = Mark.objects.filter(series=self.series, **answers["issues"].lookups)
        if answers["page"]:
            marks = marks.filter(guide__page__iexact=answers["page"])
        return marks.filter(written__iexact=answers["written"]) if answers["written"] else marks

    def deed(self, by: Any) -> Callable[[], object]:
        source, target = self.cleaned_data["part"], self.cleaned_data["target"]
        return partial(
            afresh, partial(reassign_marks, by=by, source=source, target=target, among=self.among(), **self.said)
        )


FORMS: tuple[type[_RegroupingForm], ...] = (
    MergeSubjectForm, MoveCostumeForm, MovePartForm, MergePartForm, ReassignForm,
)  # fmt: skip


def afresh(deed: partial[Any]) -> object:
    """Do a deed on rows of its own: what is rehearsed leaves nothing behind on those of the form."""
    rows = {
        name: type(value).objects.get(pk=value.pk) if isinstance(value, Subject | Costume | Part) else value
        for name, value in deed.keywords.items()
    }
    return deed.func(**rows)
