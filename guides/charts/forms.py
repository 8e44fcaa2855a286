"""Forms of the chart's room: a sheet to print, a scan to read, a chart on the wall, a press condition to keep."""

from __future__ import annotations

import datetime as dt
from operator import attrgetter
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from bible.colour import press as shipped
from bible.colour import pressfile
from bible.colour.cgats import MAX_BYTES as MOST_REFERENCE
from bible.colour.cgats import CgatsError, read_reference
from bible.models import Series
from bible.series.presses import available
from bible.web.names import counted
from bible.web.preferences import PaperSize
from guides.core.forms import PictureForm
from guides.imaging.chart.sheet import MOST_PATCHES
from guides.imaging.intake.formats import ACCEPT, ACCEPTED_WORDS
from guides.imaging.intake.rules import MAX_BYTES, megabytes
from guides.models import RUN_LENGTH, ChartScan

CORNERS = ((10, 10), (90, 10), (90, 90), (10, 90))
"""Where the corners stand before anybody moves them, percent of width and height: clockwise from top left."""

CORNER_WORDS = ("top left", "top right", "bottom right", "bottom left")


class SheetForm(forms.Form):
    page = forms.ChoiceField(label="Paper", choices=PaperSize.choices)


class ChartScanForm(PictureForm):
    scan = forms.FileField(
        label="Scan of the chart",
        help_text=f"In colour, 150 dpi or more, any way up. {ACCEPTED_WORDS}, up to {megabytes(MAX_BYTES)}.",
        widget=forms.ClearableFileInput(attrs={"accept": ACCEPT}),
    )
    run = forms.CharField(
        max_length=RUN_LENGTH, label="Run", help_text="What it was printed with: “Issue 57, web press 2”."
    )
    printed_on = forms.DateField(
        label="Printed on", required=False, widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    )
    paper = forms.CharField(max_length=RUN_LENGTH, required=False, help_text="The paper, in words.")
    base = forms.ChoiceField(
        label="Begins from",
        required=False,
        help_text="The press condition that the scan corrects. Choose one where you know what the house prints on.",
    )
    target = forms.FileField(
        label="Reference of the colour target",
        required=False,
        help_text="Where a target lay on the sheet: its maker’s file, CGATS text. Without one the scanner is "
        "believed, and everything is doubted more.",
    )
    on_wall = forms.BooleanField(
        label="It is a chart without our corner marks, one that hangs on the wall",
        required=False,
        help_text="You then point at its four corners.",
    )

    def __init__(self, series: Series, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choices = [(info.name, info.title) for info in available(series)]
        self.fields["base"].choices = [("", "the one that comes nearest"), *choices]  # type: ignore[attr-defined]

    def clean_printed_on(self) -> dt.date | None:
        day: dt.date | None = self.cleaned_data["printed_on"]
        # A day further east has begun already.
        if day and day > dt.date.today() + dt.timedelta(days=1):
            raise ValidationError("That day has not come yet.")
        return day

    def clean_target(self) -> str:
        """The reference's text, once it has been read."""
        file = self.cleaned_data["target"]
        if not file:
            return ""
        if file.size > MOST_REFERENCE:
            raise ValidationError(f"A reference file has at most {MOST_REFERENCE >> 20} MB.")
        data = file.read()
        try:
            read_reference(data)
        except CgatsError as error:
            raise ValidationError(f"{file.name}: {error}") from error
        return str(data.decode("utf-8-sig", "replace").replace("\x00", ""))


class WallChartForm(forms.Form):
    """Rows, columns, codes and the four corners of a chart that carries no marks."""

    rows = forms.IntegerField(min_value=1, max_value=100)
    columns = forms.IntegerField(min_value=1, max_value=100)
    codes = forms.CharField(
        label="Codes, a line for each row",
        widget=forms.Textarea(attrs={"rows": 8, "class": "code"}),
        help_text="As they stand on the chart, with commas between; a cell without a code is left empty.",
    )

    def __init__(self, scan: ChartScan, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        before = scan.pointed or {}
        self.series = scan.series
        tints = scan.series.chart.tints
        columns = before.get("columns") or round(len(tints) ** 0.5)
        codes = before.get("codes") or [scan.series.write(tint) for tint in tints]
        lines = [", ".join(codes[at : at + columns]) for at in range(0, len(codes), columns)]
        self.initial["columns"], self.initial["rows"] = columns, before.get("rows") or len(lines)
        self.initial["codes"] = "\n".join(lines)
        corners = before.get("corners") or [[x / 100, y / 100] for x, y in CORNERS]
        for at, corner in enumerate(corners):
            for axis, value in zip("xy", corner, strict=True):
                self.fields[f"s{axis}{at}"] = forms.FloatField(
                    label=f"{CORNER_WORDS[at]}, {'across' if axis == 'x' else 'down'} (%)",
                    min_value=0,
                    max_value=100,
                    initial=round(100 * value, 2),
                    widget=forms.NumberInput(attrs={"step": "0.01", "class": "point-field"}),
                )

    @property
    def corner_rows(self) -> list[dict[str, Any]]:
        """The fields of each corner, for the template."""
        return [
            {"number": at + 1, "word": CORNER_WORDS[at], "fields": [self[f"sx{at}"], self[f"sy{at}"]]}
            for at in range(4)
        ]

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        rows, columns, codes = data.get("rows"), data.get("columns"), data.get("codes")
        if rows and columns and codes:
            cells = [[cell.strip() for cell in line.split(",")] for line in codes.splitlines() if line.strip()]
            if rows * columns > MOST_PATCHES:
                self.add_error("rows", f"A chart has at most {MOST_PATCHES:,} cells.")
            elif len(cells) != rows or any(len(line) != columns for line in cells):
                *first, last = [len(line) for line in cells[:12]] or [0]
                written = ", ".join([*map(str, first), counted(last, "code")])
                needed = f"{counted(rows, 'line')} of {counted(columns, 'code')}"
                self.add_error("codes", f"Needed: {needed}. Written: {counted(len(cells), 'line')}, of {written}.")
            else:
                data["cells"] = [cell[:80] for line in cells for cell in line]
        return data

    @property
    def pointed(self) -> dict[str, Any]:
        data = self.cleaned_data
        corners = [[data[f"sx{at}"] / 100, data[f"sy{at}"] / 100] for at in range(4)]
        return {"rows": data["rows"], "columns": data["columns"], "codes": data["cells"], "corners": corners}


class KeepPressForm(forms.Form):
    title = forms.CharField(
        max_length=120, help_text="What people call it: “House press, newsprint, run of issue 57”."
    )
    name = forms.CharField(
        max_length=60, label="Short name", help_text="Lower-case letters, figures and single hyphens."
    )

    def __init__(self, series: Series, *args: Any, **kwargs: Any) -> None:
        self.series = series
        super().__init__(*args, **kwargs)

    def clean_title(self) -> str:
        return " ".join(self.cleaned_data["title"].split())

    def clean_name(self) -> str:
        name = self.cleaned_data["name"]
        if not pressfile.NAME.match(name):
            raise ValidationError("Lower-case letters, figures and single hyphens only.")
        if name in {info.name for info in shipped.available()}:
            raise ValidationError(f"“{name}” is a condition that everybody has; choose another name.")
        if self.series.press_uploads.filter(name=name).exists():
            raise ValidationError(f"This series has a condition “{name}” already.")
        return str(name)


class DriftForm(forms.Form):
    """Two scans that were read, of the same series."""

    first = forms.ModelChoiceField(ChartScan.objects.none(), label="First run")
    second = forms.ModelChoiceField(ChartScan.objects.none(), label="Second run")

    def __init__(self, series: Series, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in ("first", "second"):
            field: Any = self.fields[name]
            field.queryset = ChartScan.objects.filter(series=series).were_read().newest_first()
            field.label_from_instance = attrgetter("named")

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        if data.get("first") and data.get("first") == data.get("second"):
            self.add_error("second", "Choose two different scans.")
        return data
