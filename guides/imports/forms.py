"""The forms that bring a table in: the file, then which column says what."""

from __future__ import annotations

from typing import Any

from django import forms

from bible.models import Issue, Series
from bible.series.forms import IssueNumberField
from guides.imports.formats import ACCEPT, ACCEPTED_WORDS
from guides.imports.grid import MOST_BYTES
from guides.imports.services import FIELDS, Columns, Opened, missing
from guides.imports.workbooks import column_name
from guides.models import BroughtTable


class TableForm(forms.Form):
    """A file with rows."""

    file = forms.FileField(
        label="Table",
        help_text=f"{ACCEPTED_WORDS}, with headings (CSV best in UTF-8). Nothing is saved yet.",
        widget=forms.ClearableFileInput(attrs={"accept": ACCEPT}),
    )

    def clean_file(self) -> Any:
        file = self.cleaned_data["file"]
        if file.size > MOST_BYTES:
            raise forms.ValidationError(f"The file is larger than {MOST_BYTES // 1_000_000} MB: split it.")
        return file


class ColumnsForm(forms.Form):
    """Which column says what; starts with the guess. ``shown`` are the fates that a yes is said to.

    A bible's also has ``changes_from``: from which issue on codes hold that are changed by rows without an issue.
    """

    shown = forms.CharField(required=False, widget=forms.HiddenInput)

    def __init__(self, series: Series, kind: str, opened: Opened, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.kind = kind
        width = opened.grid.width
        labels = [(str(at), opened.headings.column_label(at, opened.rows)) for at in range(width)]
        for field in FIELDS[kind]:
            self.fields[field.name] = forms.TypedChoiceField(
                choices=[("", "no column"), *labels],
                coerce=int,
                empty_value=None,
                required=field.required,
                label=field.label,
                help_text=field.help,
                error_messages={"required": "Say which column this is."},
            )
        if kind == BroughtTable.Kind.BIBLE:
            self.fields["changes_from"] = IssueNumberField(
                series,
                required=False,
                label="Changes hold from issue",
                help_text="For rows that name no issue and say another code than is locked.",
            )

    @property
    def changes_from(self) -> Issue | None:
        return self.cleaned_data.get("changes_from")

    @property
    def columns(self) -> Columns:
        return {field.name: self.cleaned_data.get(field.name) for field in FIELDS[self.kind]}

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        said: dict[int, str] = {}
        for field in FIELDS[self.kind]:
            column = data.get(field.name)
            if column is None:
                continue
            if column in said:
                self.add_error(field.name, f"Column {column_name(column)} is named for “{said[column]}” already.")
            said[column] = field.label
        return data


def first_columns(kind: str, guess: Columns) -> dict[str, Any]:
    """A form's data for a guess; empty where a column that is needed could not be guessed."""
    if missing(kind, guess):
        return {}
    return {name: "" if column is None else str(column) for name, column in guess.items()}
