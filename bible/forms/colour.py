"""Forms of the colour pages: which press, whose eyes, which codes."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from bible.colour.lookalikes import NORMAL, VISIONS
from bible.colour.notation import NotationError
from bible.colour.press import PressCondition
from bible.forms import CodeField, explain
from bible.models import Series, Subject
from bible.presses import available, condition

VISION_WORDS = {
    "normal": "normal colour vision",
    "protanopia": "protanopia (no long-wave cones: red-blind)",
    "deuteranopia": "deuteranopia (no middle-wave cones: green-blind)",
    "tritanopia": "tritanopia (no short-wave cones: blue-blind)",
}
VISION_CHOICES = [(vision, VISION_WORDS.get(vision, vision)) for vision in VISIONS]


class PressForm(forms.Form):
    """Under which press condition a page shows its colours; without a choice the series' own."""

    press = forms.ChoiceField(required=False, label="Printed on")

    def __init__(self, series: Series, *args: Any, **kwargs: Any) -> None:
        self.series = series
        super().__init__(*args, **kwargs)
        field = self.fields["press"]
        assert isinstance(field, forms.ChoiceField)
        field.choices = [(info.name, info.title) for info in available(series)]
        field.error_messages["invalid_choice"] = "There is no press condition “%(value)s” in this series."
        self.initial.setdefault("press", series.press)
        if self.is_bound and not self.data.get("press"):
            self.data = {name: self.data.get(name) for name in self.data} | {"press": series.press}

    @property
    def condition(self) -> PressCondition:
        """The chosen condition; the series' own where the choice is none it has."""
        self.is_valid()
        return condition(self.series, self.cleaned_data.get("press") or "")


class LookForm(PressForm):
    """Press and eyes."""

    vision = forms.ChoiceField(required=False, label="Seen with", choices=VISION_CHOICES)

    @property
    def eyes(self) -> str:
        self.is_valid()
        return self.cleaned_data.get("vision") or NORMAL


class LookAlikeForm(LookForm):
    """A subject against the others, or nobody: the whole chart."""

    subject = forms.ModelChoiceField(Subject.objects.none(), required=False, empty_label="all tints of the chart")
    field_order = ["subject", "press", "vision"]

    def __init__(self, series: Series, *args: Any, **kwargs: Any) -> None:
        super().__init__(series, *args, **kwargs)
        field = self.fields["subject"]
        assert isinstance(field, forms.ModelChoiceField)
        field.queryset = series.subjects.active().order_by("name")
        field.label = "Compare"
        field.error_messages["invalid_choice"] = "There is no such subject in this series."


class AnyCodeField(CodeField):
    """A code that need not be on the chart, as looking costs nothing; cleans to its tint."""

    def clean(self, value: Any) -> Any:
        written = forms.CharField.clean(self, value)
        if not written:
            return None
        try:
            return self.series.notation.read(written)
        except NotationError as error:
            raise ValidationError(explain(error), code=error.reason) from error


class FindTintForm(forms.Form):
    """A code to look at."""

    def __init__(self, series: Series, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["code"] = AnyCodeField(series, error_messages={"required": "Type a code to look at."})


class GradientForm(PressForm):
    """A fade: from one code to another."""

    field_order = ["start", "end", "press"]

    def __init__(self, series: Series, *args: Any, **kwargs: Any) -> None:
        super().__init__(series, *args, **kwargs)
        self.fields["start"] = AnyCodeField(series, label="From", error_messages={"required": "From which code?"})
        self.fields["end"] = AnyCodeField(series, label="To", error_messages={"required": "To which code?"})
        self.order_fields(self.field_order)
