"""Forms of the chart's pages and of the notation."""

from __future__ import annotations

import json
from collections.abc import Iterable
from itertools import permutations
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from bible.colour.chart_audit import NEWSPRINT_INK_LIMIT
from bible.colour.chart_table import MAX_BYTES, ChartTable, ChartTableError, as_pasted, read_table
from bible.colour.cxf_reading import chart_lines, is_cxf
from bible.colour.lookalikes import NORMAL, VISIONS
from bible.colour.notation import Notation, NotationError, NotationSettingError, read_percentage
from bible.colour.notation_settings import STYLES
from bible.colour.press import PressCondition
from bible.colour.tints import INK_NAMES, INKS
from bible.models import Edition, Series, Subject
from bible.series.forms import CodeField, explain
from bible.series.presses import available, condition
from bible.web.digest import digest

VISION_WORDS = {
    "normal": "normal colour vision",
    "protanopia": "protanopia (no long-wave cones: red-blind)",
    "deuteranopia": "deuteranopia (no middle-wave cones: green-blind)",
    "tritanopia": "tritanopia (no short-wave cones: blue-blind)",
}
VISION_CHOICES = [(vision, VISION_WORDS.get(vision, vision)) for vision in VISIONS]


class PressForm(forms.Form):
    """Under which press condition a page shows its colours; without a choice the series' own, of an edition its."""

    press = forms.ChoiceField(required=False, label="Printed on")

    def __init__(self, series: Series, *args: Any, edition: Edition | None = None, **kwargs: Any) -> None:
        self.series, usual = series, edition.press_name if edition else series.press
        super().__init__(*args, **kwargs)
        field = self.fields["press"]
        assert isinstance(field, forms.ChoiceField)
        field.choices = [(info.name, info.title) for info in available(series)]
        field.error_messages["invalid_choice"] = "There is no press condition “%(value)s” in this series."
        self.initial.setdefault("press", usual)
        if self.is_bound and not self.data.get("press"):
            self.data = {name: self.data.get(name) for name in self.data} | {"press": usual}

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


ALONE = "alone"
"""How the settings page writes the figure of a letter that stands alone."""

STYLE_WORDS = {"letters": "letters and figures (YR3B2)", "percent": "percentages (C25 M50 Y100)"}


def shown_pairs(pairs: Iterable[tuple[str, int]]) -> str:
    """Figures with their percentages, one a line, as ``PairsField`` reads them back."""
    return "\n".join(f"{figure or ALONE} = {percent}" for figure, percent in pairs)


class PairsField(forms.CharField):
    """Lines “3 = 50” or “R4 = 100”; cleans to pairs of a text and a percentage."""

    widget = forms.Textarea

    def clean(self, value: Any) -> Any:
        pairs = []
        for number, line in enumerate(super().clean(value).splitlines(), 1):
            if not line.strip():
                continue
            figure, sign, percent = (piece.strip() for piece in line.partition("="))
            try:
                if not sign or not percent:
                    raise ValidationError(f"Line {number}: “{line.strip()}” wants a form like 3 = 50.", code="form")
                pairs.append(("" if figure.lower() in ("", ALONE) else figure, read_percentage(percent)))
            except NotationError as error:
                raise ValidationError(f"Line {number}: {error.message}", code="form") from error
        return tuple(pairs)


class NotationForm(forms.Form):
    """Letters, figures, aliases, order, style and chart of a series.

    ``notation`` and ``chart_kind`` are what a valid form asks for. ``seen`` tells the settings it was opened on, and
    ``previewed`` those whose consequences were last shown.
    """

    letters = forms.CharField(
        max_length=4, help_text="One letter for each of cyan, magenta, yellow and key, in this order."
    )
    paper = forms.CharField(max_length=1, label="Letter of bare paper")
    steps = PairsField(
        label="Step figures",
        max_length=400,
        widget=forms.Textarea(attrs={"rows": 4}),
        help_text=f"One a line: the figure, an equals sign, the percentage. “{ALONE}” is a letter without a figure.",
    )
    key_steps = PairsField(
        required=False,
        label="Key figures",
        max_length=400,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text=f"Where black has codes of its own: the strengths of key a code may have, “{ALONE} = 100” for"
        " solid. The chart then holds each of them beside every tint. Empty: black is the line art and is not coded.",
    )
    aliases = PairsField(
        required=False,
        max_length=4000,
        widget=forms.Textarea(attrs={"rows": 4}),
        help_text="Further figures for one ink each, such as R4 = 100. They are read, never written.",
    )
    order = forms.ChoiceField(
        label="Writing order",
        choices=[("".join(inks), ", ".join(INK_NAMES[ink] for ink in inks)) for inks in permutations("ymck")],
    )
    style = forms.ChoiceField(label="Codes are written as", choices=[(name, STYLE_WORDS[name]) for name in STYLES])
    chart_kind = forms.ChoiceField(label="Chart", choices=Series.ChartKind.choices)
    seen = forms.CharField(required=False, widget=forms.HiddenInput)
    previewed = forms.CharField(required=False, widget=forms.HiddenInput)

    def __init__(self, series: Series, *args: Any, **kwargs: Any) -> None:
        self.series = series
        self.notation = notation = series.notation
        initial = {
            "letters": notation.letters,
            "paper": notation.paper,
            "steps": shown_pairs(notation.steps),
            "key_steps": shown_pairs(notation.key_steps),
            "aliases": shown_pairs(notation.aliases),
            "order": notation.order,
            "style": notation.style,
            "chart_kind": series.chart_kind,
            "seen": fingerprint(series.notation, series.chart_kind),
        }
        super().__init__(*args, **kwargs)
        self.initial = {**initial, **self.initial}

    def clean_chart_kind(self) -> str:
        kind = self.cleaned_data["chart_kind"]
        if kind == Series.ChartKind.HOUSE and not self.series.chart_data:
            raise ValidationError("There is no house list yet: bring it in on the chart audit page.", code="missing")
        return kind

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        names = ("letters", "paper", "steps", "key_steps", "aliases", "order", "style")
        if all(name in data for name in names):
            try:
                self.notation = Notation(**{name: data[name] for name in names})
            except NotationSettingError as error:
                self.add_error(error.field if error.field in self.fields else None, sentence(error.message))
        return data

    @property
    def asked(self) -> str:
        """The fingerprint of what this form asks for."""
        return fingerprint(self.notation, self.cleaned_data["chart_kind"])

    @property
    def is_stale(self) -> bool:
        """Whether the settings have changed since this form was opened."""
        return self.cleaned_data["seen"] != fingerprint(self.series.notation, self.series.chart_kind)


def sentence(message: str) -> str:
    return message[:1].upper() + message[1:] + ("" if message.endswith(".") else ".")


def fingerprint(notation: Notation, chart_kind: str, tints: Iterable[int] = ()) -> str:
    """A short text that two settings share only when they are the same."""
    content = json.dumps([notation.to_dict(), chart_kind, list(tints)], sort_keys=True)
    return digest(content)


class AuditForm(forms.Form):
    """A house chart to look through: pasted, or as a file."""

    table = forms.CharField(
        required=False,
        max_length=MAX_BYTES,
        strip=False,
        label="Paste the chart",
        widget=forms.Textarea(attrs={"rows": 10, "spellcheck": "false", "class": "table-input"}),
        help_text="One swatch a line: label; cyan; magenta; yellow (and key, if it has one), in percent.",
    )
    file = forms.FileField(required=False, label="or choose a file", help_text="CSV or CxF3, at most 1 MB.")
    ink_limit = forms.IntegerField(
        required=False,
        min_value=0,
        max_value=400,
        label="Ink limit",
        help_text=f"Percent of total ink, to report tints above it; coldset newsprint takes about"
        f" {NEWSPRINT_INK_LIMIT}. Empty: not checked.",
    )

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        file, text = data.get("file"), data.get("table", "")
        if self.errors:
            return data
        if not file and not text.strip():
            raise ValidationError("Paste a chart or choose a file.", code="missing")
        if file and file.size > MAX_BYTES:
            self.add_error("file", f"{file.name} is larger than {MAX_BYTES // 1_000_000} MB.")
            return data
        try:
            source = file.read() if file else text
            if isinstance(source, bytes) and is_cxf(source):
                source = chart_lines(source)
            data |= {"chart_table": read_table(source), "chart_text": as_pasted(source)}
        except ChartTableError as error:
            self.add_error("file" if file else "table", sentence(str(error)))
        return data


def as_text(table: ChartTable) -> str:
    """The sound rows of a table in the plainest form, to be sent along with a question and read again."""
    rows = ["label\t" + "\t".join(INK_NAMES[ink] for ink in INKS)]
    for swatch in table.swatches:
        label = swatch.label.replace('"', '""')
        rows.append("\t".join([f'"{label}"', *map(str, swatch.tint.percentages)]))
    return "\n".join(rows)
