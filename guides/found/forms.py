"""The forms that answer a found code, and say who is on a page."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from typing import Any

from django import forms

from bible.models import Part, Series
from bible.series.forms import SeveralField
from bible.series.things import why_archived
from guides.found.cast import who_may_be_on

NO_ANSWER = "That is no answer to a code of this page."
TICK, TAKE = "on-", "take-"
ASIDE = "aside"

Said = tuple[Part | None, str, str]
"""Part, role and code."""


def read_saying(series: Series, saying: str) -> Said:
    """What ``part|role|code`` means (part 0: nobody's).

    Raises:
        ValidationError: it is no answer, or its part is archived.
    """
    key, role, code = (*saying.split("|", 2), "", "")[:3]
    parts = Part.objects.filter(costume__subject__series=series).select_related("costume__subject")
    part = parts.filter(pk=int(key)).first() if key.isdecimal() and len(key) < 12 else None
    if part and (why := why_archived(part)):
        raise forms.ValidationError(why)
    known = key == "0" or part is not None
    if not known or role not in series.roles or not 0 < len(code.strip()) <= 80:
        raise forms.ValidationError(NO_ANSWER)
    return part, role, code.strip()


def shown_keys(saying: str) -> list[int]:
    """Keys of the codes that somebody was shown, told with commas."""
    return _keys(saying.split(","))


def said_keys(posted: Iterable[str]) -> list[int]:
    """Keys of the codes of which something is said beside the one that is asked about."""
    return _keys(name.removeprefix(TAKE) for name in posted if name.startswith(TAKE))


def _keys(texts: Iterable[str]) -> list[int]:
    return [int(text) for text in texts if text.isdecimal() and len(text) < 12]


def read_sayings(series: Series, posted: Mapping[str, str], keys: Collection[int]) -> dict[int, Said]:
    """What is said of several codes, ``take-KEY`` each; those of which nothing is said are left out.

    Raises:
        ValidationError: as for ``read_saying``.
    """
    said = {key: posted.get(f"{TAKE}{key}", "") for key in keys}
    return {key: read_saying(series, saying) for key, saying in said.items() if saying}


class CodeAnswerForm(forms.Form):
    """What somebody says a found code is: ``part|role|code``, or ``aside``: no code to be marked. ``x`` and ``y``
    where it means another place."""

    saying = forms.CharField(max_length=120)
    x = forms.FloatField(min_value=0, max_value=1, required=False)
    y = forms.FloatField(min_value=0, max_value=1, required=False)

    def __init__(self, series: Series, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.series = series

    def clean_saying(self) -> str | Said:
        saying = self.cleaned_data["saying"]
        return str(saying) if saying == ASIDE else read_saying(self.series, saying)

    @property
    def place(self) -> tuple[float, float] | None:
        """Where it was moved to, or None."""
        x, y = self.cleaned_data.get("x"), self.cleaned_data.get("y")
        return None if x is None or y is None else (x, y)


class PageCastForm(forms.Form):
    """Who is on a page, a tick ``on-KEY`` for each; nobody: not known."""

    def __init__(self, series: Series, ticks: Iterable[str]) -> None:
        super().__init__({"subjects": [tick.removeprefix(TICK) for tick in ticks if tick.startswith(TICK)]})
        self.fields["subjects"] = SeveralField(who_may_be_on(series), required=False)
