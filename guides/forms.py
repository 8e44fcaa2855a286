"""Forms of the guide desk."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from bible.colour.difference import SEVERITY_BANDS
from bible.forms import IssueNumberField
from bible.models import Issue, Part, Role, Series
from guides.gradients import split_code
from guides.models import PAGE_LABEL_LENGTH, FlagKind, Guide, Mark

CANDIDATES_NAMED = 4
"""Parts named in “which one?”: more than these and the answer is to type another word."""


class PartField(forms.CharField):
    """A part by its full name, or by words that fit exactly one; costumes in use at the issue win a tie."""

    def __init__(self, series: Series, position: int, kept: Part | None = None, **kwargs: Any) -> None:
        """``kept`` is a part that may stay though it is archived and nobody is offered it any more."""
        self.series, self.position, self.kept = series, position, kept
        super().__init__(max_length=250, **kwargs)

    def clean(self, value: Any) -> Any:
        words = super().clean(value)
        if not words:
            return None
        if self.kept and words.casefold() == self.kept.full_name.casefold():
            return self.kept
        if one := Part.objects.of_series(self.series).with_names().called(words):
            return one
        searched = words.replace(",", " ").replace(":", " ")
        found = list(Part.objects.matching(self.series, searched).with_names()[:50])
        exact = [part for part in found if part.full_name.casefold() == words.casefold()]
        in_use = [part for part in found if part.costume.in_use_at(self.position)]
        for candidates in (exact, found, in_use):
            if len(candidates) == 1:
                return candidates[0]
        if not found:
            raise ValidationError(f"No part is called “{words}”. Empty means background.", code="unknown")
        named = "; ".join(part.full_name for part in (in_use or found)[:CANDIDATES_NAMED])
        raise ValidationError(f"Which one? {named}.", code="ambiguous")


class MarkForm(forms.Form):
    """What a mark says. A code that cannot be read is no error here: it is kept as written and flagged."""

    x = forms.FloatField(min_value=0, max_value=1, widget=forms.HiddenInput)
    y = forms.FloatField(min_value=0, max_value=1, widget=forms.HiddenInput)
    written = forms.CharField(
        label="Code as written",
        max_length=80,
        widget=forms.TextInput(
            attrs={
                "class": "code-input",
                "autocomplete": "off",
                "autocapitalize": "characters",
                "spellcheck": "false",
            }
        ),
    )
    to_written = forms.CharField(
        label="Fades to",
        required=False,
        max_length=80,
        help_text="Only for a gradient; or write both above: YR > Y2.",
        widget=forms.TextInput(attrs={"class": "code-input", "autocomplete": "off", "spellcheck": "false"}),
    )
    to_x = forms.FloatField(min_value=0, max_value=1, required=False, widget=forms.HiddenInput)
    to_y = forms.FloatField(min_value=0, max_value=1, required=False, widget=forms.HiddenInput)
    role = forms.ChoiceField(choices=Role, initial=Role.BASE)
    seen = forms.IntegerField(required=False, widget=forms.HiddenInput)

    def __init__(self, guide: Guide, *args: Any, mark: Mark | None = None, **kwargs: Any) -> None:
        if mark:
            kwargs["initial"] = {
                "x": mark.x,
                "y": mark.y,
                "written": mark.written,
                "to_written": mark.to_written,
                "part": mark.part.full_name if mark.part else "",
                "role": mark.role,
                "seen": mark.version,
            } | kwargs.get("initial", {})
        super().__init__(*args, **kwargs)
        self.fields["part"] = PartField(
            guide.series,
            guide.issue.position,
            kept=mark.part if mark else None,
            required=False,
            help_text="Two letters of each word will do. Empty: background.",
            widget=forms.TextInput(attrs={"autocomplete": "off", "spellcheck": "false"}),
        )
        self.order_fields(["x", "y", "to_x", "to_y", "written", "part", "role", "to_written", "seen"])

    def clean(self) -> dict[str, Any]:
        """“YR > Y2” in the first field says the same as two fields."""
        data = super().clean() or self.cleaned_data
        first, second = split_code(data.get("written", ""))
        if second and not data.get("to_written"):
            data["written"], data["to_written"] = first, second
        return data

    @property
    def saying(self) -> dict[str, Any]:
        """Code, part, role, second code and where its arrow points, as the services take them."""
        said = {name: self.cleaned_data[name] for name in ("written", "part", "role", "to_written")}
        end = (self.cleaned_data.get("to_x"), self.cleaned_data.get("to_y"))
        return said | {"to": end if None not in end else None}


class PlaceForm(forms.Form):
    """A place on a page, in fractions of its width and height."""

    x = forms.FloatField(min_value=0, max_value=1)
    y = forms.FloatField(min_value=0, max_value=1)


class MoveForm(forms.Form):
    """Where a mark, or the point of its arrow, has been dragged."""

    x = forms.FloatField(min_value=0, max_value=1)
    y = forms.FloatField(min_value=0, max_value=1)
    seen = forms.IntegerField(required=False)


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
