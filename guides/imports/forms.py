"""The forms that bring a table in: the file, then which column says what, and what is asked about it."""

from __future__ import annotations

from typing import Any

from django import forms

from bible.models import Issue, Series
from bible.series.forms import IssueNumberField
from guides.imports.formats import ACCEPT, ACCEPTED_WORDS
from guides.imports.grid import MOST_BYTES
from guides.imports.opening import FIELDS, Columns, Opened
from guides.imports.services import missing
from guides.imports.workbooks import column_name
from guides.models import BroughtTable

PASTED = "pasted table"


class TableForm(forms.Form):
    """A file with rows, or rows that were copied from a program."""

    file = forms.FileField(
        required=False,
        label="Table",
        help_text=f"{ACCEPTED_WORDS}, with headings. Nothing is saved yet.",
        widget=forms.ClearableFileInput(attrs={"accept": ACCEPT}),
    )
    pasted = forms.CharField(
        required=False,
        strip=False,
        label="Or paste it here",
        help_text="Cells copied from a spreadsheet, headings included.",
        widget=forms.Textarea(attrs={"rows": 4, "spellcheck": "false"}),
    )

    def clean_file(self) -> Any:
        file = self.cleaned_data["file"]
        if file and file.size > MOST_BYTES:
            raise forms.ValidationError(f"The file is larger than {MOST_BYTES // 1_000_000} MB: split it.")
        return file

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        file, pasted = data.get("file"), data.get("pasted", "").strip("\r\n")
        if not file and not pasted and "file" not in self.errors:
            self.add_error("file", "Choose a file, or paste a table below.")
        elif file and pasted:
            self.add_error("pasted", "There is a file and a pasted table: keep one of them.")
        return data

    @property
    def table(self) -> tuple[bytes, str]:
        """The bytes of the table, and what it is called."""
        file = self.cleaned_data["file"]
        if file:
            return file.read(), str(file.name)
        return self.cleaned_data["pasted"].strip("\r\n").encode(), PASTED


class ColumnsForm(forms.Form):
    """Which column says what; starts with the guess. ``shown`` are the fates that a yes is said to.

    A bible's also has ``changes_from``: from which issue on codes hold that are changed by rows without an issue.
    """

    use_required_attribute = False  # what is asked can be answered before every column is named
    shown = forms.CharField(required=False, widget=forms.HiddenInput)

    def __init__(self, series: Series, kind: str, opened: Opened, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.kind = kind
        labels = [(str(at), opened.headings.column_label(at, opened.rows)) for at in range(opened.grid.width)]
        for field in FIELDS[kind]:
            self.fields[field.name] = forms.TypedChoiceField(
                choices=[("", "no column"), *labels],
                coerce=int,
                empty_value=None,
                required=field.required and field.name != opened.across,
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
        labels: dict[int, str] = {}
        for field in FIELDS[self.kind]:
            column = data.get(field.name)
            if column is None:
                continue
            if column in labels:
                self.add_error(field.name, f"Column {column_name(column)} is named for “{labels[column]}” already.")
            labels[column] = field.label
        return data


def first_columns(opened: Opened) -> dict[str, Any]:
    """A form's data for a guess."""
    return {name: "" if column is None else str(column) for name, column in opened.headings.guess.items()}


def asked_columns(kind: str, opened: Opened, data: Any) -> tuple[Any, bool]:
    """What a form is filled with, and whether it says something yet: what was sent, if it was said of the table as it
    is laid out now, else the guess; where that lacks what is needed, it is shown and not judged."""
    if data is not None and data.get("shape", opened.shape) == opened.shape:
        return data, True
    guess = first_columns(opened)
    sent = {} if data is None else {"changes_from": data.get("changes_from", "")}
    return guess | sent, not missing(kind, opened.headings.guess, opened.across)
