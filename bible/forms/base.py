"""Forms of the bible. Codes are read by the series' own notation; what could not be read stays in its field."""

from __future__ import annotations

from itertools import chain, count
from typing import Any, cast

from django import forms
from django.core.exceptions import ValidationError
from django.utils.text import slugify

from bible.colour.notation import NotationError
from bible.colour.tints import Tint
from bible.models import Costume, Issue, Lock, Part, Role, Series, Subject
from bible.running_order import RunningOrder
from bible.services import last_decisions
from bible.whole_numbers import whole_number

SLUG_ROOM = 40
"""Letters of a short name made of a title; a number behind it still fits the column."""


def explain(error: NotationError) -> str:
    """A notation error in sentences, with the nearest readings."""
    told = f"{error}".rstrip(".") + "."
    if error.suggestions:
        told += f" Nearest on the chart: {', '.join(error.suggestions)}."
    return told


class CodeField(forms.CharField):
    """A tint code; cleans to ``(tint, code as written)``."""

    def __init__(self, series: Series, **kwargs: Any) -> None:
        self.series = series
        super().__init__(
            max_length=40,
            widget=forms.TextInput(attrs={"class": "code-input", "autocomplete": "off", "spellcheck": "false"}),
            **kwargs,
        )

    def clean(self, value: Any) -> Any:
        written = super().clean(value)
        if not written:
            return None
        try:
            return self.series.read(written), written
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
        issue = self.series.issues.filter(number__iexact=number).first()
        if issue is None:
            raise ValidationError(f"There is no issue {number} in {self.series}.", code="unknown")
        return issue


def mark_as_seen(form: forms.Form, newest: int | str) -> None:
    """After a stale save was refused and shown: the same form, sent again, has seen what there is now."""
    form.data = dict(form.data.items()) | {"seen": str(newest)}


def _position_of(issue: Issue | None, default: int) -> int:
    return issue.position if issue else default


def _position_after(series: Series, issue: Issue | None) -> int | None:
    """The position at which a stretch ends that runs up to and including an issue; None for onwards."""
    if issue is None:
        return None
    following = series.issues.filter(position__gt=issue.position).in_order().first()
    return following.position if following else issue.position + 1


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
        number = " ".join(self.cleaned_data["number"].split())
        if self.series.issues.filter(number__iexact=number).exclude(pk=self.instance.pk).exists():
            raise ValidationError(f"{self.series} has an issue {number} already.", code="taken")
        return number


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

    def siblings(self) -> Any:
        return self.series.subjects.all()


class _StretchForm(forms.BaseForm):
    """Fields ``from_issue`` and ``to_issue`` of a series, as the positions of the stretch that they say."""

    series: Series

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        first, last = data.get("from_issue"), data.get("to_issue")
        if first and last and last.position < first.position:
            self.add_error("to_issue", "It cannot end before it begins.")
        data["from_position"] = _position_of(first, 0)
        data["to_position"] = _position_after(self.series, last)
        return data

    @property
    def places(self) -> tuple[Issue | None, ...]:
        """The issues whose places the answers rest on."""
        return self.cleaned_data["from_issue"], self.cleaned_data["to_issue"]


class CostumeForm(_StretchForm, _UniqueNameForm):
    class Meta:
        model = Costume
        fields = ["name"]

    def __init__(self, subject: Subject, *args: Any, **kwargs: Any) -> None:
        self.subject = subject
        self.series = series = subject.series
        super().__init__(*args, **kwargs)
        self.fields["from_issue"] = IssueNumberField(series, required=False, label="Worn from issue")
        self.fields["to_issue"] = IssueNumberField(
            series,
            required=False,
            label="up to and including issue",
            help_text="A signed-off issue in which marks then owe another tint opens again.",
        )
        if self.instance.pk:
            order = RunningOrder.of(series)
            first = order.first_from(self.instance.from_position) if self.instance.from_position else None
            last = order.last_before(self.instance.to_position) if self.instance.to_position else None
            self.initial["from_issue"] = first.number if first else ""
            self.initial["to_issue"] = last.number if last else ""

    def siblings(self) -> Any:
        return self.subject.costumes.all()


class PartForm(_UniqueNameForm):
    class Meta:
        model = Part
        fields = ["name"]

    def __init__(self, costume: Costume, *args: Any, **kwargs: Any) -> None:
        self.costume = costume
        super().__init__(*args, **kwargs)

    def siblings(self) -> Any:
        return self.costume.parts.all()


class SeenDecisionsField(forms.CharField):
    """The newest decision about each role of a part, as it was when the form was shown; cleans to that by role."""

    def __init__(self) -> None:
        super().__init__(max_length=400, required=False, widget=forms.HiddenInput)

    def clean(self, value: Any) -> Any:
        said = super().clean(value)
        pairs = [one.rpartition(":") for one in said.split()]
        return {role: whole_number(last) or 0 for role, _, last in pairs} if pairs else None


def seen_decisions(part: Part) -> str:
    """A part's newest decisions as ``SeenDecisionsField`` reads them."""
    last = dict.fromkeys(Role.values, 0) | last_decisions(part)
    return " ".join(f"{role}:{pk}" for role, pk in last.items())


class LockForm(_StretchForm, forms.Form):
    """Lock a part's role to a code from an issue on.

    Where the role that is chosen is locked already, it has to be said from which issue on the new code holds; the
    field is filled with the issue at work.
    """

    role = forms.ChoiceField(choices=Role)
    reason = forms.CharField(max_length=300, required=False, help_text="Why: it is read years later.")
    seen = SeenDecisionsField()
    field_order = ["role", "code", "from_issue", "to_issue", "reason", "seen"]

    def __init__(self, part: Part, *args: Any, **kwargs: Any) -> None:
        self.part = part
        self.series = series = part.costume.subject.series
        super().__init__(*args, **kwargs)
        self.locked_roles = set(Lock.objects.filter(part=part).standing().values_list("role", flat=True))
        self.at_work = series.issues.at_work()
        self.fields["code"] = CodeField(series)
        told = "Where something is locked already it has to stand here." if self.locked_roles else ""
        self.fields["from_issue"] = IssueNumberField(
            series, required=False, help_text=f"Empty: from the first issue on. {told}".strip()
        )
        self.initial["seen"] = seen_decisions(part)
        if self.locked_roles and self.at_work and not self.initial.get("from_issue"):
            self.initial["from_issue"] = self.at_work.number
        self.fields["to_issue"] = IssueNumberField(
            series,
            required=False,
            label="Up to and including issue",
            help_text="Empty: until the next change.",
        )
        self.order_fields(self.field_order)

    def clean(self) -> dict[str, Any]:
        data = super().clean()
        role = data.get("role")
        if data.get("seen") is not None:
            data["seen"] = data["seen"].get(role, 0)
        said = data.get("from_issue") or "from_issue" in self.errors
        if role in self.locked_roles and self.at_work and not said:
            self.add_error("from_issue", f"The {role} is locked already: say from which issue on this holds.")
        return data

    def decision(self) -> dict[str, Any]:
        """The arguments of ``services.lock_tint`` that this form has answered."""
        tint, written = self.cleaned_data["code"]
        kept = ("role", "from_position", "to_position", "reason", "seen")
        return {"tint": tint, "written": written} | {name: self.cleaned_data[name] for name in kept}


class CorrectionForm(forms.Form):
    """Put right a lock that was entered wrongly."""

    reason = forms.CharField(max_length=300, help_text="What was wrong; the history keeps both versions.")
    seen = forms.IntegerField(widget=forms.HiddenInput, required=False)

    def __init__(self, lock: Lock, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["code"] = CodeField(lock.series)
        self.order_fields(["code", "reason", "seen"])

    @property
    def reading(self) -> tuple[Tint, str]:
        return self.cleaned_data["code"]


class EndForm(forms.Form):
    """Let a lock hold no longer from an issue on."""

    reason = forms.CharField(max_length=300)
    seen = forms.IntegerField(widget=forms.HiddenInput, required=False)

    def __init__(self, lock: Lock, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["at_issue"] = IssueNumberField(lock.series, label="From issue")
        self.order_fields(["at_issue", "reason", "seen"])


class AsOfForm(forms.Form):
    """Which subjects, at which issue."""

    q = forms.CharField(required=False, max_length=80, label="Find")
    issue = forms.CharField(required=False, max_length=30, label="As of issue")
