"""Forms of subjects, costumes and parts."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from bible.models import Costume, Issue, Part, Series, Subject
from bible.models.stretches import Stretch
from bible.series.forms import IssueNumberField, SeenMixin, StretchForm
from bible.series.refusals import Refused
from bible.series.running_order import RunningOrder
from bible.subjects.owning import Owned, owned
from bible.subjects.wearing import tidy


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
        kept = self.instance.kind if self.instance.pk else ""
        self.fields["kind"] = forms.ChoiceField(choices=series.kinds.choices(kept))

    def siblings(self) -> Any:
        return self.series.subjects.all()


STRETCHES_AT_MOST = 60
"""A costume that came and went more often than this is several costumes."""


class CostumeForm(StretchForm, _UniqueNameForm):
    """A costume's name and the stretches in which it is worn: pairs of fields, ``from_issue`` and ``to_issue`` with
    nothing, ``_2``, ``_3`` … behind. A pair that says nothing counts only where no other says something."""

    class Meta:
        model = Costume
        fields = ["name"]

    def __init__(self, subject: Subject, *args: Any, worn: tuple[Stretch, ...] | None = None, **kwargs: Any) -> None:
        """``worn``: what to fill the fields with instead of what is stored."""
        self.subject = subject
        self.series = series = subject.series
        super().__init__(*args, **kwargs)
        stretches = worn if worn is not None else self.instance.worn if self.instance.pk else ()
        order = RunningOrder.of(series) if stretches else RunningOrder(())
        self.rows = self._asked_rows() if self.is_bound else _rows(max(len(stretches) + 1, 2))
        for row in self.rows:
            self.fields[f"from_issue{row}"] = IssueNumberField(
                series, required=False, label="again from issue" if row else "Worn from issue"
            )
            self.fields[f"to_issue{row}"] = IssueNumberField(
                series, required=False, label="up to and including issue"
            )
        for row, stretch in zip(self.rows, stretches, strict=False):
            self.initial[f"from_issue{row}"], self.initial[f"to_issue{row}"] = order.ends(stretch)

    def _asked_rows(self) -> list[str]:
        return [row for row in _rows(STRETCHES_AT_MOST) if not row or f"from_issue{row}" in self.data]

    @property
    def pairs(self) -> list[tuple[Any, Any]]:
        return [(self[f"from_issue{row}"], self[f"to_issue{row}"]) for row in self.rows]

    def clean(self) -> dict[str, Any]:
        data = super().clean()
        first = Stretch(data["from_position"], data["to_position"])
        filled = [row for row in self.rows if data.get(f"from_issue{row}") or data.get(f"to_issue{row}")]
        asked = [self.stretch(row) if row else first for row in filled]
        try:
            data["worn"] = tidy(asked) if not self.errors else ()
        except Refused as refusal:
            self.add_error(None, str(refusal))
        return data

    @property
    def places(self) -> tuple[Issue | None, ...]:
        return tuple(self.cleaned_data[f"{name}{row}"] for row in self.rows for name in ("from_issue", "to_issue"))

    def siblings(self) -> Any:
        return self.subject.costumes.all()


def _rows(number: int) -> list[str]:
    """What the names of so many pairs of fields end with."""
    return ["", *(f"_{row}" for row in range(2, number + 1))]


ROOM_FOR_OWNERS = 2
"""Empty rows below those that say something; saved ones make room for more."""


class OwnersForm(StretchForm, forms.Form):
    """Whose something is: rows of an owner and two issues. A row without an owner does not count."""

    def __init__(self, subject: Subject, data: Any = None) -> None:
        self.subject, self.series = subject, subject.series
        super().__init__(data)
        ownerships, order = owned(subject), RunningOrder.of(subject.series)
        self.rows = [f"_{row}" for row in range(1, len(ownerships) + ROOM_FOR_OWNERS + 1)]
        others = self.series.subjects.active().exclude(pk=subject.pk)
        for row in self.rows:
            self.fields[f"owner{row}"] = forms.ModelChoiceField(others, required=False, label="It belongs to")
            self.fields[f"from_issue{row}"] = IssueNumberField(self.series, required=False, label="from issue")
            self.fields[f"to_issue{row}"] = IssueNumberField(
                self.series, required=False, label="up to and including issue"
            )
        for row, ownership in zip(self.rows, ownerships, strict=False):
            self.initial[f"owner{row}"] = ownership.owner
            self.initial[f"from_issue{row}"], self.initial[f"to_issue{row}"] = order.ends(Stretch(*ownership[1:]))

    def clean(self) -> dict[str, Any]:
        data = super().clean()
        for row in self.rows:
            if not data.get(f"owner{row}") and (data.get(f"from_issue{row}") or data.get(f"to_issue{row}")):
                self.add_error(f"owner{row}", "Whose is it in these issues?")
        named = [row for row in self.rows if data.get(f"owner{row}")]
        data["owners"] = [Owned(data[f"owner{row}"].pk, *self.stretch(row)) for row in named]
        return data

    @property
    def places(self) -> tuple[Issue | None, ...]:
        return tuple(self.cleaned_data[f"{name}{row}"] for row in self.rows for name in ("from_issue", "to_issue"))


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
    compared = ("name", "worn")

    @property
    def edit(self) -> dict[str, Any]:
        """The arguments of ``wearing.edit_costume`` that this form has answered, save for who saves."""
        arguments = {"costume": self.instance, "seen": self.cleaned_data["seen"], "places": self.places}
        return arguments | {"worn": self.cleaned_data["worn"]}

    def words(self, stored: Costume) -> str:
        return f"{super().words(stored)}, worn {RunningOrder.of(self.subject.series).worn(stored)}"


class EditPartForm(SeenMixin, PartForm):
    compared = ("name",)
