"""Forms of the press page: choosing a condition, and bringing one's own."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import UploadedFile

from bible.colour import press as shipped
from bible.colour import pressfile
from bible.colour.cgats import MAX_BYTES, CgatsError, read_cgats
from bible.colour.press import PressCondition
from bible.colour.pressfile import MAX_RULING, MIN_RULING
from bible.colour.pressfit import DEFAULT_ANGLES, DEFAULT_RULING_LPI, FitError, fit
from bible.colour.tints import INK_NAMES, INKS
from bible.models import PressUpload, Series
from bible.presses import available

MAX_CONDITIONS = 60
"""Conditions a series may bring: every page offers them all, and each is some 50 kB of text."""


class ChoosePressForm(forms.Form):
    """The condition a series is printed under; swatches everywhere follow it."""

    press = forms.ChoiceField(widget=forms.RadioSelect, label="Printed on")
    seen = forms.CharField(required=False, max_length=64, widget=forms.HiddenInput)

    def __init__(self, series: Series, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["press"]
        assert isinstance(field, forms.ChoiceField)
        field.choices = [(info.name, info.title) for info in available(series)]
        field.error_messages = {
            "required": "Choose a press condition.",
            "invalid_choice": "There is no press condition “%(value)s” in this series.",
        }


def one_line(value: str) -> str:
    """Words on one line, as the file of a condition keeps them."""
    return " ".join(value.split())


class PressUploadForm(forms.Form):
    """A condition of one's own, fitted from measured patches."""

    data_file = forms.FileField(
        label="Measured patches",
        help_text=f"A CGATS text file (also .ti3) with CMYK and XYZ or Lab (D50, 2°), at most {MAX_BYTES >> 20} MB.",
    )
    title = forms.CharField(max_length=120, help_text="What people call it: “Coldset newsprint, house press 2”.")
    name = forms.SlugField(
        max_length=60, label="Short name", help_text="Lower-case letters, figures and single hyphens."
    )
    source = forms.CharField(max_length=300, help_text="Where the data come from; shown beside every colour.")
    paper = forms.CharField(max_length=120, required=False, help_text="The paper, in words.")
    ruling_lpi = forms.FloatField(
        label="Screen ruling",
        initial=DEFAULT_RULING_LPI,
        min_value=MIN_RULING,
        max_value=MAX_RULING,
        help_text="Lines per inch; drawn in the view of the dots.",
    )
    angles = forms.CharField(
        label="Screen angles",
        max_length=60,
        initial=" ".join(f"{DEFAULT_ANGLES[ink]:g}" for ink in INKS),
        help_text=f"Degrees for {', '.join(INK_NAMES[ink] for ink in INKS)}, in this order.",
    )

    def __init__(self, series: Series, *args: Any, **kwargs: Any) -> None:
        self.series = series
        self.condition: PressCondition | None = None
        super().__init__(*args, **kwargs)

    def clean_name(self) -> str:
        name = self.cleaned_data["name"]
        if not pressfile.NAME.match(name):
            raise ValidationError("Lower-case letters, figures and single hyphens only.", code="form")
        if name in {info.name for info in shipped.available()}:
            raise ValidationError(f"“{name}” is a condition that everybody has; choose another name.", code="taken")
        if self.series.press_uploads.filter(name=name).exists():
            raise ValidationError(f"This series has a condition “{name}” already.", code="taken")
        return name

    def clean_title(self) -> str:
        return one_line(self.cleaned_data["title"])

    def clean_source(self) -> str:
        return one_line(self.cleaned_data["source"])

    def clean_paper(self) -> str:
        return one_line(self.cleaned_data["paper"]) or "not stated"

    def clean_angles(self) -> dict[str, float]:
        cells = self.cleaned_data["angles"].replace(",", " ").replace("°", " ").split()
        try:
            angles = [float(cell) for cell in cells]
        except ValueError:
            angles = []
        if len(angles) != len(INKS) or not all(-360 <= angle <= 360 for angle in angles):
            raise ValidationError("Four angles in degrees, such as 105 75 90 45.", code="form")
        return dict(zip(INKS, angles, strict=True))

    def clean_data_file(self) -> UploadedFile:
        file = self.cleaned_data["data_file"]
        if file.size > MAX_BYTES:
            raise ValidationError(
                f"{file.name} has {file.size / 2**20:.0f} MB; characterization data have at most"
                f" {MAX_BYTES >> 20} MB.",
                code="size",
            )
        return file

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        if self.series.press_uploads.count() >= MAX_CONDITIONS:
            raise ValidationError(f"A series brings at most {MAX_CONDITIONS} press conditions.", code="many")
        if self.errors:
            return data
        words = {name: data[name] for name in ("name", "title", "source", "paper", "ruling_lpi", "angles")}
        try:
            self.condition = fit(read_cgats(data["data_file"].read()), **words)
        except (CgatsError, FitError) as error:
            self.add_error("data_file", f"{data['data_file'].name}: {error}")
        return data

    def upload(self, by: Any) -> PressUpload:
        """The fitted condition as a row, not saved yet."""
        assert self.condition is not None
        info = self.condition.info
        text = pressfile.dumps(self.condition)
        return PressUpload(series=self.series, uploaded_by=by, text=text, **info._asdict())
