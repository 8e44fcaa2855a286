"""Forms of bringing pages in."""

from __future__ import annotations

import re
from typing import Any, cast

from django import forms
from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.http import QueryDict

from bible.models import Series
from bible.models.naming import people
from bible.models.permissions import RIGHTS, Permission
from bible.series.forms import PersonField
from bible.web.whole_numbers import whole_number
from guides.core.forms import PictureForm
from guides.imaging.intake.formats import ACCEPT, ACCEPTED_WORDS
from guides.imaging.intake.rules import MAX_BYTES, megabytes
from guides.models import PAGE_LABEL_LENGTH, Guide
from guides.uploads.queries import MOST_FILES, Chosen

SHA256 = re.compile(r"[0-9a-f]{64}")
LONGEST_NAME = 500
"""Of a file's name with its folders; file systems allow 255 a part."""
LARGEST_SIZE = 10**12
AS_BEFORE = "whoever has or had the page, else myself"
"""What a scan's colourist is where nobody is chosen, as ``add_guide`` has it."""


class SeveralFilesInput(forms.ClearableFileInput):
    allow_multiple_selected = True


class SeveralFilesField(forms.FileField):
    """One or more uploads; cleans to their list. What is in them is for the intake to judge."""

    widget = SeveralFilesInput(attrs={"accept": ACCEPT})

    def clean(self, data: Any, initial: Any = None) -> Any:
        files = data if isinstance(data, list | tuple) else [data]
        if not [file for file in files if file]:
            raise ValidationError("Choose at least one file.", code="required")
        return list(files)


class ColouristField(PersonField):
    """Somebody of the series who paints guides, by name.

    Args:
        nobody: what it means to choose nobody.
    """

    def __init__(self, series: Series, nobody: str = AS_BEFORE) -> None:
        colourists = series.memberships.filter(role__in=RIGHTS[Permission.MARK]).values("user")
        super().__init__(people().filter(pk__in=colourists), label="Coloured by", empty_label=nobody)


class ColouredByForm(forms.Form):
    """Who coloured a page that is here; somebody who has left the series stays named until another one is."""

    def __init__(self, guide: Guide, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.initial["colourist"] = guide.colourist_id
        self.fields["colourist"] = field = ColouristField(guide.series, "nobody named")
        if guide.colourist_id and field.queryset is not None:
            field.queryset = (field.queryset | User.objects.filter(pk=guide.colourist_id)).distinct()


class UploadForm(PictureForm):
    """Bring page guides in: several files named like their pages, or one with its page said."""

    scans = SeveralFilesField(label="Scans", help_text=f"{ACCEPTED_WORDS}, up to {megabytes(MAX_BYTES)} each.")
    page = forms.CharField(
        required=False,
        max_length=PAGE_LABEL_LENGTH,
        help_text="Empty: read from the file name (cover, 7, 14a, 2-3).",
    )
    again = forms.BooleanField(required=False, label="Store files again that the series has already")

    def __init__(self, series: Series, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["colourist"] = ColouristField(series)
        self.order_fields(["scans", "page", "colourist", "again", "damaged"])

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        if data.get("page") and len(data.get("scans") or []) > 1:
            self.add_error("page", "One page cannot be several files; leave it empty to use the file names.")
        return data


class ArrivalForm(forms.Form):
    """One file that is about to be sent."""

    filename = forms.CharField(max_length=LONGEST_NAME)
    byte_size = forms.IntegerField(min_value=0, max_value=LARGEST_SIZE)
    page = forms.CharField(max_length=PAGE_LABEL_LENGTH)
    revision = forms.IntegerField(min_value=1, max_value=10**6)
    sha256 = forms.RegexField(SHA256, required=False)
    again = forms.BooleanField(required=False)

    def __init__(self, series: Series, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["colourist"] = ColouristField(series)

    def problems(self) -> list[str]:
        return [f"{name}: {error}" for name, errors in self.errors.items() for error in cast(list[str], errors)]


class ChosenFiles:
    """The files of a list: ``name``, ``size``, ``sha256``, ``page`` and ``typed``, one of each a file, in order, and
    ``again`` with the places of those that may come in although they are here. ``trouble`` says what is wrong."""

    def __init__(self, data: QueryDict) -> None:
        self.files: list[Chosen] = []
        self.trouble = self._read(data)

    def _read(self, data: QueryDict) -> str:
        columns = [data.getlist(name) for name in ("name", "size", "sha256", "page", "typed")]
        if not columns[0]:
            return "Choose at least one file."
        if len(columns[0]) > MOST_FILES:
            return (
                f"{len(columns[0])} files are more than the {MOST_FILES} that one list takes: bring them in by parts."
            )
        if len({len(column) for column in columns}) > 1:
            return "The list of files is not whole; choose them again."
        again = set(data.getlist("again"))
        for place, (name, size, sha256, page, typed) in enumerate(zip(*columns, strict=True)):
            said_size = whole_number(size, LARGEST_SIZE)
            if said_size is None or len(name) > LONGEST_NAME:
                return "The list of files cannot be read; choose them again."
            self.files.append(
                Chosen(
                    name=name,
                    size=said_size,
                    sha256=sha256 if SHA256.fullmatch(sha256) else "",
                    page=page if typed == "1" else None,
                    again=str(place) in again,
                )
            )
        return ""
