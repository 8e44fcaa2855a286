"""The form that brings marks in."""

from __future__ import annotations

from typing import Any

from django import forms

MOST_BYTES = 2_000_000
"""Of a file of marks: some thousand of them as annotations."""


class BringForm(forms.Form):
    """A file of marks; once it has been looked at, its text goes along with the yes."""

    file = forms.FileField(
        required=False,
        label="File of marks",
        help_text="CSV as it is handed off here, or W3C Web Annotations (JSON-LD), in UTF-8.",
        widget=forms.ClearableFileInput(attrs={"accept": ".csv,.json,.jsonld,text/csv,application/ld+json"}),
    )
    text = forms.CharField(required=False, strip=False, widget=forms.HiddenInput)
    yes = forms.BooleanField(required=False, widget=forms.HiddenInput)

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        file = data.get("file")
        if file and file.size > MOST_BYTES:
            self.add_error("file", f"The file is larger than {MOST_BYTES // 1_000_000} MB.")
        elif file:
            try:
                data["text"] = file.read().decode("utf-8-sig")
            except UnicodeDecodeError:
                self.add_error("file", "This is not text in UTF-8; save it again as “CSV UTF-8” or JSON.")
        elif not data.get("text") and not self.errors:
            self.add_error("file", "Choose a file.")
        return data
