"""Forms of a series: codes in its own notation, issue numbers, what was seen before an edit, press conditions."""

from __future__ import annotations

from itertools import chain, count
from typing import Any, cast

from django import forms
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import UploadedFile
from django.utils.text import slugify

from bible.colour import press as shipped
from bible.colour import pressfile
from bible.colour.cgats import MAX_BYTES, CgatsError, read_cgats
from bible.colour.notation import NotationError
from bible.colour.press import PressCondition
from bible.colour.pressfile import MAX_RULING, MIN_RULING
from bible.colour.pressfit import DEFAULT_ANGLES, DEFAULT_RULING_LPI, FitError, fit
from bible.colour.tints import INK_NAMES, INKS
from bible.models import Issue, PressUpload, Series, as_printed
from bible.models.naming import PersonQuerySet, name_of
from bible.models.stretches import Stretch
from bible.series.edits import StaleEdit, fingerprint
from bible.series.presses import available, condition
from bible.series.running_order import RunningOrder
from bible.web.whole_numbers import whole_number

SLUG_ROOM = 40
"""Letters of a short name made of a title; a number behind it still fits the column."""


def explain(error: NotationError) -> str:
    """A notation error in sentences, with the nearest readings."""
    sentences = f"{error}".rstrip(".") + "."
    if error.suggestions:
        sentences += f" Nearest on the chart: {', '.join(error.suggestions)}."
    return sentences


class CodeField(forms.CharField):
    """A tint code; cleans to ``(tint, code as written)``. ``fades``: or a gradient, “B to W downwards”.

    ``look``: what the code is held against while it is typed, as a query for the page that shows it.
    """

    def __init__(self, series: Series, *, fades: bool = False, look: str = "", **kwargs: Any) -> None:
        self.series = series
        self.look = look
        self.read = series.read_locked if fades else series.read
        super().__init__(
            max_length=100 if fades else 40,
            widget=forms.TextInput(attrs={"class": "code-input", "autocomplete": "off", "spellcheck": "false"}),
            **kwargs,
        )

    def clean(self, value: Any) -> Any:
        written = super().clean(value)
        if not written:
            return None
        try:
            return self.read(written), written
        except NotationError as error:
            raise ValidationError(explain(error), code=error.reason) from error


class IssueNumberField(forms.CharField):
    """An issue by its printed number; cleans to the issue, or None where nothing is written."""

    def __init__(self, series: Series, **kwargs: Any) -> None:
        self.series = series
        super().__init__(max_length=30, widget=forms.TextInput(attrs={"list": "issue-numbers"}), **kwargs)

    def clean(self, value: Any) -> Any:
        number = super().clean(value)
        if not number:
            return None
        issue = self.series.issues.called(number).first()
        if issue is None:
            raise ValidationError(f"There is no issue {number} in {self.series}.", code="unknown")
        return issue


def mark_as_seen(form: forms.BaseForm, newest: int | str) -> None:
    """After a stale save was refused and shown: the same form, sent again, has seen what there is now."""
    form.data = dict(form.data.items()) | {"seen": str(newest)}


def _position_of(issue: Issue | None, default: int) -> int:
    return issue.position if issue else default


def _position_after(series: Series, issue: Issue | None) -> int | None:
    """The position at which a stretch ends that runs up to and including an issue; None for onwards."""
    if issue is None:
        return None
    return RunningOrder.of(series).position_after(issue)


class SeriesForm(forms.ModelForm):
    class Meta:
        model = Series
        fields = ["title", "slug", "chart_kind"]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        kinds = cast(forms.ChoiceField, self.fields["chart_kind"])
        kinds.choices = [kind for kind in Series.ChartKind.choices if kind[0] != Series.ChartKind.HOUSE]
        kinds.help_text = "The house's own list can be brought in later."
        self.fields["slug"].required = False
        self.fields["slug"].help_text = "Stands in addresses. Empty: made of the title."

    def clean(self) -> dict[str, Any]:
        """A short name that nobody has taken, for whoever gives none."""
        data = super().clean() or self.cleaned_data
        if not data.get("slug") and "slug" not in self.errors and data.get("title"):
            base = slugify(data["title"])[:SLUG_ROOM].strip("-") or "series"
            names = chain([base], (f"{base}-{number}" for number in count(2)))
            data["slug"] = next(name for name in names if self._is_free(name))
        return data

    def _is_free(self, name: str) -> bool:
        field = Series._meta.get_field("slug")
        try:
            field.run_validators(name)
        except ValidationError:
            return False
        return not Series.objects.filter(slug=name).exists()


class IssueForm(forms.ModelForm):
    class Meta:
        model = Issue
        fields = ["number", "title", "published"]
        widgets = {"published": forms.DateInput(attrs={"type": "date"})}

    def __init__(self, series: Series, *args: Any, **kwargs: Any) -> None:
        self.series = series
        super().__init__(*args, **kwargs)
        self.fields["after"] = IssueNumberField(
            series, required=False, help_text="Put it behind this issue; empty: at the end."
        )

    def clean_number(self) -> str:
        return _free_number(self.series, self.cleaned_data["number"], self.instance)


def _free_number(series: Series, written: str, issue: Issue) -> str:
    """A number as it is kept; refused where another issue of the series has it."""
    number = as_printed(written)
    if series.issues.called(number).exclude(pk=issue.pk).exists():
        raise ValidationError(f"{series} has an issue {number} already.", code="taken")
    return number


class StretchForm(forms.BaseForm):
    """Fields ``from_issue`` and ``to_issue`` of a series, as the positions of the stretch that they say."""

    series: Series

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        data["from_position"], data["to_position"] = self.stretch()
        return data

    def stretch(self, row: str = "") -> Stretch:
        """What two fields say; ``row`` is what their names end with where there are several pairs."""
        first, last = (self.cleaned_data.get(f"{name}{row}") for name in ("from_issue", "to_issue"))
        if first and last and last.position < first.position:
            self.add_error(f"to_issue{row}", "It cannot end before it begins.")
        return Stretch(_position_of(first, 0), _position_after(self.series, last))

    @property
    def places(self) -> tuple[Issue | None, ...]:
        """The issues whose places the answers rest on."""
        return self.cleaned_data["from_issue"], self.cleaned_data["to_issue"]


class AsOfForm(forms.Form):
    """Which subjects, at which issue."""

    q = forms.CharField(required=False, max_length=80, label="Find")
    issue = forms.CharField(required=False, max_length=30, label="As of issue")


class SeenMixin(forms.ModelForm):
    """Adds what the form was filled from. ``compared`` are the columns that it saves."""

    compared: tuple[str, ...]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["seen"] = forms.CharField(required=False, max_length=64, widget=forms.HiddenInput)
        self.initial["seen"] = fingerprint(self.instance, self.compared)

    @property
    def edit(self) -> dict[str, Any]:
        """The arguments of ``services.save_edit`` that this form has answered."""
        return {"row": self.instance, "fields": self.compared, "seen": self.cleaned_data["seen"]}

    def show(self, stale: StaleEdit) -> None:
        """Say what stands there now; what was typed stays, and the form sent again has seen it."""
        self.add_error(
            None,
            f"{stale} Now it says: {self.words(stale.stored)}. What you wrote is still here: save it again to "
            "replace that.",
        )
        self.data = dict(self.data.items()) | {"seen": fingerprint(stale.stored, self.compared)}

    def words(self, stored: Any) -> str:
        """What a row says, field by field."""
        phrases = []
        for name in self._meta.fields or ():
            value = getattr(stored, f"get_{name}_display", lambda name=name: getattr(stored, name))()
            value = dict(getattr(self.fields[name], "choices", ())).get(value, value)
            phrases.append(f"{self.fields[name].label} “{'' if value is None else value}”")
        return ", ".join(phrases)


def press_choices(series: Series) -> list[tuple[str, str]]:
    """What may be printed on; the first, empty, is the series' own."""
    own = f"the series’ own: {condition(series).title}"
    return [("", own), *((info.name, info.title) for info in available(series))]


class EditIssueForm(SeenMixin):
    compared = ("number", "title", "published", "press")
    press = forms.ChoiceField(required=False, label="Printed on")

    class Meta:
        model = Issue
        fields = ["number", "title", "published", "press"]
        widgets = {"published": forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["press"].choices = press_choices(self.instance.series)  # type: ignore[attr-defined]

    def clean_number(self) -> str:
        return _free_number(self.instance.series, self.cleaned_data["number"], self.instance)


class EditSeriesForm(SeenMixin):
    compared = ("title",)

    class Meta:
        model = Series
        fields = ["title"]


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


class PersonField(forms.ModelChoiceField):
    """People to choose from, called and ordered as they are read."""

    def __init__(self, people: PersonQuerySet, **said: Any) -> None:
        super().__init__(people.by_name(), required=False, **said)

    def label_from_instance(self, person: Any) -> str:
        return name_of(person)


class SeveralField(forms.ModelMultipleChoiceField):
    """Several rows by their keys. What no key can be is refused before the database is asked."""

    def clean(self, value: Any) -> Any:
        for choice in value or ():
            if whole_number(str(choice)) is None:
                raise ValidationError(
                    self.error_messages["invalid_choice"], code="invalid_choice", params={"value": choice}
                )
        return super().clean(value)
