"""What is asked of a palette: which issues, which marks."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape
from typing import Any

from django import forms
from django.utils.safestring import SafeString, mark_safe

from bible.colour.press import PressCondition
from bible.models import Edition, Series
from bible.models.naming import people
from bible.series.forms import PersonField, SeveralField
from bible.series.presses import condition
from guides.core.runs import EVERY_ISSUE, IssueRun, RunField
from guides.models import UseKind

PARTS: list[UseKind] = [kind for kind in UseKind if kind is not UseKind.BACKGROUND]
KINDS: dict[str, tuple[str, list[UseKind]]] = {
    "": ("anything", []),
    "background": ("background", [UseKind.BACKGROUND]),
    "parts": ("parts in any role", PARTS),
    **{kind.name.lower(): (f"parts, {kind.label}", [kind]) for kind in PARTS},
}


class PlainSelect(forms.SelectMultiple):
    """Several of many, put together from strings: a template for each of hundreds of options takes too long."""

    def __init__(self, options: Iterable[tuple[int, str]]) -> None:
        super().__init__()
        self.named = options

    def render(self, name: str, value: Any, attrs: Any = None, renderer: Any = None) -> SafeString:
        chosen = {str(choice) for choice in value or ()}
        options = "".join(
            f'<option value="{key}"{" selected" if str(key) in chosen else ""}>{escape(words)}</option>'
            for key, words in self.named
        )
        place = escape((attrs or {}).get("id", name))
        return mark_safe(f'<select name="{escape(name)}" id="{place}" multiple size="4">{options}</select>')


class ChoiceForm(forms.Form):
    """Which marks a palette is of."""

    use = forms.ChoiceField(
        required=False, label="Used for", choices=[(key, words) for key, (words, _) in KINDS.items()]
    )

    def __init__(self, series: Series, *args: Any, edition: Edition | None = None, **kwargs: Any) -> None:
        self.series, self.edition = series, edition
        super().__init__(*args, **kwargs)
        coloured = people().filter(pk__in=series.guides.values("colourist"))
        self.fields["colourist"] = PersonField(coloured, empty_label="anybody")
        self.fields["subject"] = SeveralField(
            series.subjects.order_by("name"),
            required=False,
            label="Subjects",
            widget=PlainSelect(series.subjects.order_by("name").values_list("pk", "name")),
        )

    def asked(self, name: str) -> Any:
        """What a field was given; nothing where the form was refused."""
        return self.cleaned_data.get(name) if self.is_valid() else None

    @property
    def run(self) -> IssueRun:
        return self.asked("issues") or EVERY_ISSUE

    @property
    def press(self) -> PressCondition:
        """What it is printed on: the series' press condition, of an edition its own."""
        return condition(self.series, self.edition.press if self.edition else "")

    @property
    def run_said(self) -> str:
        return f"{self.run} in the edition {self.edition}" if self.edition else str(self.run)

    @property
    def kinds(self) -> list[UseKind]:
        """The kinds of use that were asked for; empty is every kind."""
        return KINDS[self.asked("use") or ""][1]


class PaletteForm(ChoiceForm):
    columns = forms.ChoiceField(
        required=False, choices=[("", "as they fit"), ("each", "every issue"), ("10", "ten issues each")]
    )

    def __init__(self, series: Series, *args: Any, **kwargs: Any) -> None:
        super().__init__(series, *args, **kwargs)
        self.fields["issues"] = RunField(series, required=False, help_text="57 or 40-60")
        self.order_fields(["issues", "use", "colourist", "columns", "subject"])


class CompareForm(ChoiceForm):
    def __init__(self, series: Series, *args: Any, **kwargs: Any) -> None:
        super().__init__(series, *args, **kwargs)
        self.fields["before"] = RunField(series, label="Issues")
        self.fields["after"] = RunField(series, label="against issues")
        self.order_fields(["before", "after", "use", "colourist", "subject"])


class NearForm(ChoiceForm):
    def __init__(self, series: Series, *args: Any, **kwargs: Any) -> None:
        super().__init__(series, *args, **kwargs)
        self.fields["issues"] = RunField(series, label="Issues")
        self.order_fields(["issues", "use", "colourist", "subject"])
