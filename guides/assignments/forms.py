"""Forms of giving pages."""

from __future__ import annotations

from typing import Any, cast

from django import forms
from django.core.exceptions import ValidationError

from bible.models import Issue, Series
from bible.models.naming import PersonQuerySet, name_of, people
from bible.models.permissions import RIGHTS, Permission
from bible.series.forms import PersonField, SeveralField
from bible.series.refusals import Refused
from guides.assignments.labels import read_pages
from guides.assignments.queries import GivenPage
from guides.core.runs import RunField
from guides.models import NOTE_OF_PAGES_LENGTH

NOBODYS = "nobody"


def colourists(series: Series) -> PersonQuerySet:
    """People of a series who mark pages."""
    return people().filter(pk__in=series.memberships.filter(role__in=RIGHTS[Permission.MARK]).values("user"))


def _day(**said: Any) -> forms.DateField:
    return forms.DateField(required=False, widget=forms.DateInput(attrs={"type": "date"}), **said)


class GivePagesForm(forms.Form):
    """Pages, somebody, a day."""

    pages = forms.CharField(
        max_length=400,
        help_text="As “1-8”, “cover, 3, 14a”. Pages that have not come in can be given too.",
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    due = _day(label="To be in by")
    note = forms.CharField(max_length=NOTE_OF_PAGES_LENGTH, required=False, label="Note")
    seen = forms.CharField(required=False, max_length=64, widget=forms.HiddenInput)

    def __init__(self, issue: Issue, *args: Any, **kwargs: Any) -> None:
        self.issue = issue
        super().__init__(*args, **kwargs)
        self.fields["colourist"] = who = PersonField(colourists(issue.series), label="To", empty_label="choose")
        who.required = True
        self.order_fields(["pages", "colourist", "due", "note", "seen"])

    def clean_pages(self) -> list[str]:
        try:
            pages = read_pages(self.cleaned_data["pages"], self.issue.pages_expected)
        except Refused as refusal:
            raise ValidationError(str(refusal), code="pages") from refusal
        if not pages:
            raise ValidationError("Say which pages.", code="required")
        return pages


class ChangeAssignmentsForm(forms.Form):
    """Another person or day for pages chosen from the list; empty stays as it is."""

    due = _day(label="By")
    no_date = forms.BooleanField(required=False, label="no day")

    def __init__(self, issue: Issue, *args: Any, **kwargs: Any) -> None:
        kwargs["auto_id"] = "change_%s"  # it stands beside the other form
        super().__init__(*args, **kwargs)
        self.fields["colourist"] = PersonField(colourists(issue.series), label="To", empty_label="as it is")
        chosen = issue.assignments.all()
        self.fields["chosen"] = SeveralField(chosen, error_messages={"required": "Choose at least one page."})
        self.order_fields(["chosen", "colourist", "due", "no_date"])

    @property
    def said(self) -> dict[str, Any]:
        """What ``change_assignments`` takes."""
        return self.cleaned_data | {"chosen": [assignment.pk for assignment in self.cleaned_data["chosen"]]}

    @property
    def problems(self) -> str:
        return " ".join(str(error) for errors in self.errors.values() for error in cast(list[str], errors))


class AssignmentsForm(forms.Form):
    """Which pages that were given."""

    what = forms.ChoiceField(
        required=False,
        label="Show",
        choices=[("", "everything"), ("late", "late"), ("open", "not done"), ("done", "done")],
    )

    def __init__(self, series: Series, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["issues"] = RunField(series, required=False, label="Issues")
        who = people().filter(pk__in=series.assignments.values("colourist"))
        names = [(str(person.pk), name_of(person)) for person in who.by_name()]
        self.fields["who"] = forms.ChoiceField(
            required=False, label="With", choices=[("", "everybody"), (NOBODYS, "nobody any more"), *names]
        )

    def chosen(self, pages: list[GivenPage]) -> list[GivenPage]:
        """Those of the pages that the form asks for."""
        data = self.cleaned_data
        wanted = {
            "late": lambda page: page.is_late,
            "open": lambda page: not page.is_done,
            "done": lambda page: page.is_done,
        }.get(data["what"], lambda page: True)
        return [
            page
            for page in pages
            if wanted(page) and data["issues"].holds(page.assignment.issue) and self._is_with(page, data["who"])
        ]

    @staticmethod
    def _is_with(page: GivenPage, who: str) -> bool:
        if not who:
            return True
        return not page.is_held if who == NOBODYS else page.is_held and str(page.assignment.colourist_id) == who
