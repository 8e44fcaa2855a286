"""A run of issues: the value, and the field that people type it into."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, cast

from django import forms
from django.core.exceptions import ValidationError

from bible.models import Issue, Series

DASHES = "-–—"


@dataclass(frozen=True)
class IssueRun:
    """Issues from one to another, both included; None is an open end."""

    first: Issue | None
    last: Issue | None

    def holds(self, issue: Issue) -> bool:
        return (not self.first or self.first.position <= issue.position) and (
            not self.last or issue.position <= self.last.position
        )

    @property
    def lookups(self) -> dict[str, int]:
        bounds = {"position__gte": self.first.position} if self.first else {}
        return bounds | ({"position__lte": self.last.position} if self.last else {})

    def __str__(self) -> str:
        if self.first == self.last:
            return f"issue {self.first.number}" if self.first else "all issues"
        if self.first and self.last:
            return f"issues {self.first.number} to {self.last.number}"
        return f"from issue {self.first.number} on" if self.first else f"up to issue {cast(Issue, self.last).number}"


EVERY_ISSUE = IssueRun(None, None)


class RunField(forms.CharField):
    """A run of issues as people type it: “57”, “40-60”, “40-”, “-60”, “Annual 2”; empty is every issue."""

    def __init__(self, series: Series, **kwargs: Any) -> None:
        self.series = series
        widget = forms.TextInput(attrs={"list": "issue-numbers", "size": 9, "autocomplete": "off"})
        super().__init__(max_length=70, widget=widget, **kwargs)

    def clean(self, value: Any) -> Any:
        text = super().clean(value)
        if not text:
            return EVERY_ISSUE
        if whole := self._issue(text):
            return IssueRun(whole, whole)
        unknown = text
        for at in [at for at, letter in enumerate(text) if letter in DASHES]:
            ends = text[:at].strip(), text[at + 1 :].strip()
            issues = [self._issue(end) if end else None for end in ends]
            missing = [end for end, issue in zip(ends, issues, strict=True) if end and issue is None]
            if not missing and any(ends):
                first, last = issues
                if first and last and last.position < first.position:
                    raise ValidationError(f"{last} comes before {first}.", code="backwards")
                return IssueRun(first, last)
            unknown = missing[0] if missing else unknown
        raise ValidationError(f"There is no issue {unknown} in {self.series}.", code="unknown")

    def _issue(self, number: str) -> Issue | None:
        return self.series.issues.called(number).first()
