"""Forms of the continuity report.

It opens with the newest issues of a long series, since counting a million marks takes a second; all of them are one
step away.
"""

from __future__ import annotations

from typing import Any, Self

from django import forms
from django.db.models import Q
from django.http import QueryDict

from bible.colour.tints import Tint
from bible.models import Edition, Series
from guides.core.in_editions import differing_in
from guides.core.runs import RunField
from guides.models import MarkQuerySet
from guides.report.queries import marks_of

LONG, NEWEST = 100, 24
"""Of more than so many issues the report opens with the newest ones: what drifts now. Decades are counted, which
takes a second, when somebody asks for them."""
NOBODY = "nobody"


class RunForm(forms.Form):
    """Which issues the report is about."""

    def __init__(self, series: Series, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["issues"] = RunField(
            series,
            required=False,
            label="Issues",
        )

    @classmethod
    def asked(cls, series: Series, query: QueryDict, edition: Edition | None) -> Self:
        """With what was asked, empty being every issue; where nothing was asked, with the newest issues: an edition
        collects few, and all of them are meant."""
        if "issues" in query or edition or series.issues.active().count() <= LONG:
            return cls(series, query)
        first = series.issues.get(position=series.issues.newest_from(NEWEST))
        return cls(series, {"issues": f"{first.number}-"})


class PackedTintField(forms.Field):
    """A tint as its packed number, as links carry it."""

    def clean(self, value: Any) -> Tint | None:
        if not value:
            return None
        try:
            return Tint.from_packed(int(value))
        except ValueError as error:
            raise forms.ValidationError("This is no tint.") from error


class BehindForm(RunForm):
    """Which differing marks: what was written, what is locked, whose, of which subject."""

    wrote = PackedTintField(required=False)
    locked = PackedTintField(required=False)
    colourist = forms.CharField(required=False)

    def __init__(self, series: Series, *args: Any, **kwargs: Any) -> None:
        super().__init__(series, *args, **kwargs)
        self.fields["subject"] = forms.ModelChoiceField(series.subjects.all(), required=False)
        people = series.guides.exclude(colourist=None).order_by().values_list("colourist", flat=True).distinct()
        keys = [(str(key), str(key)) for key in people]
        self.fields["colourist"] = forms.ChoiceField(choices=[(NOBODY, NOBODY), *keys], required=False)

    def marks(self, series: Series, edition: Edition | None) -> MarkQuerySet:
        data = self.cleaned_data
        marks = differing_in(marks_of(series, data["issues"], edition), edition)
        if data["wrote"]:
            marks = marks.filter(tint=data["wrote"])
        if data["locked"]:
            marks = marks.filter(Q(needed=data["locked"]))
        if data["subject"]:
            marks = marks.of_subject(data["subject"].pk)
        if data["colourist"]:
            marks = marks.filter(guide__colourist=None if data["colourist"] == NOBODY else int(data["colourist"]))
        return marks
