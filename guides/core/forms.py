"""Fields and forms that several rooms use."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from bible.models import Part, Scene, Series
from bible.series.things import why_archived
from guides.core.outlines import NoOutline, Outline, from_text
from guides.core.scene_areas import Region, outlined

UNKNOWN = "unknown"
"""The code of the error that says that no part is called so."""
CANDIDATES_NAMED = 4
"""Parts named in “which one?”: more than these and the answer is to type another word."""


class PictureForm(forms.Form):
    """Brings a picture in; only where not all of its pixels can be read is it asked whether it may."""

    damaged = forms.BooleanField(
        required=False, label="Store it with what can be read of it", widget=forms.HiddenInput
    )

    def asked(self, refusal: Exception) -> str:
        """What to add to a refusal's words; the question is shown from now on."""
        if getattr(refusal, "reason", "") != "part_damaged":
            return ""
        self.fields["damaged"].widget = forms.CheckboxInput()
        return f" Tick “{self.fields['damaged'].label}” and choose it again, or send another scan."


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
        if part := Part.objects.of_series(self.series).with_names().called(words):
            return part
        searched = words.replace(",", " ").replace(":", " ")
        fitting = list(Part.objects.matching(self.series, searched).with_names().with_times()[:50])
        exact = [part for part in fitting if part.full_name.casefold() == words.casefold()]
        in_use = [part for part in fitting if part.costume.in_use_at(self.position)]
        for candidates in (exact, fitting, in_use):
            if len(candidates) == 1:
                return candidates[0]
        if not fitting:
            archived = Part.objects.archived().filter(costume__subject__series=self.series).with_names().called(words)
            if archived:
                raise ValidationError(why_archived(archived), code="archived")
            raise ValidationError(f"No part is called “{words}”. Empty means background.", code=UNKNOWN)
        named = "; ".join(part.full_name for part in (in_use or fitting)[:CANDIDATES_NAMED])
        raise ValidationError(f"Which one? {named}.", code="ambiguous")


PERCENT = 100


class AreaForm(forms.Form):
    """A scene and where it holds: within an outline, or between edges, in percent of the picture; all empty: on the
    whole page."""

    scene = forms.ModelChoiceField(queryset=Scene.objects.none())
    left = forms.FloatField(min_value=0, max_value=100, required=False, label="Left edge, %")
    top = forms.FloatField(min_value=0, max_value=100, required=False, label="Top edge, %")
    right = forms.FloatField(min_value=0, max_value=100, required=False, label="Right edge, %")
    bottom = forms.FloatField(min_value=0, max_value=100, required=False, label="Bottom edge, %")
    outline = forms.CharField(
        required=False,
        max_length=12_000,
        label="Or within an outline",
        help_text="Its corners one after another, left,top in percent: 12,30 40,30 25,70.",
        widget=forms.TextInput(attrs={"autocomplete": "off", "spellcheck": "false", "inputmode": "text"}),
    )
    field_order = ["scene", "left", "right", "top", "bottom", "outline"]

    def __init__(self, series: Series, *args: object, **kwargs: object) -> None:
        super().__init__(*args, **kwargs)  # type: ignore[arg-type]
        self.fields["scene"].queryset = series.scenes.active()  # type: ignore[attr-defined]

    def clean_outline(self) -> Outline | None:
        try:
            return from_text(self.cleaned_data["outline"]) if self.cleaned_data["outline"] else None
        except NoOutline as error:
            raise ValidationError(str(error), code="no-outline") from error

    def clean(self) -> dict[str, object]:
        data = super().clean() or self.cleaned_data
        for low, high in (("left", "right"), ("top", "bottom")):
            if not self.errors and self._edge(low, 0) >= self._edge(high, PERCENT):
                self.add_error(high, "It must end behind where it begins.")
        return data

    def _edge(self, name: str, default: float) -> float:
        value = self.cleaned_data.get(name)
        return default if value is None else value

    @property
    def region(self) -> Region:
        if outline := self.cleaned_data.get("outline"):
            return outlined(outline)
        return Region(
            self._edge("left", 0) / PERCENT,
            self._edge("top", 0) / PERCENT,
            self._edge("right", PERCENT) / PERCENT,
            self._edge("bottom", PERCENT) / PERCENT,
        )


class ReasonForm(forms.Form):
    reason = forms.CharField(max_length=300, help_text="A disguise, a flashback: it is read years later.")
