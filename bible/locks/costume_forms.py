"""The codes of a costume as a table: part by role."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cached_property
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from bible.locks.costume_codes import CodeToBe, newest_decision
from bible.models import Costume
from bible.series.forms import CodeField, IssueNumberField, StretchForm
from bible.series.running_order import AsOf

NAME_LENGTH = Costume._meta.get_field("name").max_length

BLANK_ROWS = 3
"""Rows for parts that are not there yet; the page's script adds more as they fill."""

FIRST_ROWS = 8
"""Rows of a costume that has no part yet."""

MOST_ROWS = 200
"""No costume has as many parts; what is pasted by mistake may."""


def roles_of(costume: Costume) -> list[tuple[str, str]]:
    """(key, name) of the roles that the parts of a costume may have: a column of its table each."""
    subject = costume.subject
    return subject.series.roles.of_kind(subject.kind)


class CostumeRowForm(forms.Form):
    """A part and its code in each role. An empty code leaves the role as it is."""

    part = forms.CharField(max_length=NAME_LENGTH, required=False)

    def __init__(self, costume: Costume, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["part"].widget.attrs |= {"autocomplete": "off", "aria-label": "Part"}
        self.roles = roles_of(costume)
        for key, name in self.roles:
            self.fields[key] = CodeField(costume.subject.series, fades=True, required=False)
            self.fields[key].widget.attrs["aria-label"] = f"{name} code"

    @property
    def cells(self) -> Iterator[Any]:
        return (self[key] for key, _ in self.roles)

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        if not data.get("part") and any(data.get(key) for key, _ in self.roles):
            raise ValidationError("Which part has these codes?")
        return data

    def codes(self) -> list[CodeToBe]:
        answers = ((key, self.cleaned_data.get(key)) for key, _ in self.roles)
        return [CodeToBe(self.cleaned_data["part"], role, *code) for role, code in answers if code]


class _Rows(forms.BaseFormSet):
    def clean(self) -> None:
        names = [form.cleaned_data["part"].casefold() for form in self.forms if form.cleaned_data.get("part")]
        if twice := {name for name in names if names.count(name) > 1}:
            raise ValidationError(f"Two rows are called {', '.join(sorted(twice))}.")


RowSet = forms.formset_factory(
    CostumeRowForm, _Rows, extra=0, max_num=MOST_ROWS, absolute_max=MOST_ROWS, validate_max=True
)


class CostumeTableForm(StretchForm, forms.Form):
    """From which issue on the codes of a table hold. ``is_copy``: they are those of a costume to be made, whose name
    is asked for."""

    seen = forms.IntegerField(widget=forms.HiddenInput, required=False)
    reason = forms.CharField(max_length=300, required=False, help_text="Why: it is read years later.")

    def __init__(self, costume: Costume, data: Any = None, *, is_copy: bool = False) -> None:
        self.costume, self.series, self.is_copy = costume, costume.subject.series, is_copy
        super().__init__(data)
        hint = "The first issue in which it is worn." if is_copy else "The first issue in which these codes hold."
        self.fields["from_issue"] = IssueNumberField(self.series, required=False, help_text=hint)
        self.fields["to_issue"] = IssueNumberField(self.series, required=False, label="Up to and including issue")
        if is_copy:
            self.fields["name"] = forms.CharField(max_length=NAME_LENGTH, label="Name of the new costume")
        self.order_fields(["name", "from_issue", "to_issue", "reason", "seen"])
        at_work = self.series.issues.at_work()
        self.initial = {"seen": newest_decision(costume), "from_issue": at_work.number if at_work else ""}

    def clean_name(self) -> str:
        name = self.cleaned_data["name"]
        if self.costume.subject.costumes.filter(name__iexact=name).exists():
            raise ValidationError("There is a costume of this name already.")
        return name

    @property
    def roles(self) -> list[tuple[str, str]]:
        return roles_of(self.costume)

    @cached_property
    def rows(self) -> Any:
        if self.is_bound:
            return RowSet(self.data, form_kwargs={"costume": self.costume})
        parts = self.costume.parts.active().with_locks(AsOf.at(self.series).position, self.series.roles)
        filled = [
            {"part": part.name} | {lock.role: self.series.write(lock.locked) for lock in part.locks_in_force}  # type: ignore[attr-defined]
            for part in parts
        ]
        blank = BLANK_ROWS if filled else FIRST_ROWS
        return RowSet(initial=[*filled, *({} for _ in range(blank))], form_kwargs={"costume": self.costume})

    def is_valid(self) -> bool:
        return all([super().is_valid(), self.rows.is_valid()])

    @property
    def wrong(self) -> bool:
        return self.is_bound and not self.is_valid()

    def table(self) -> dict[str, Any]:
        """The arguments of ``lock_costume`` that it has answered, save for the costume and who decides."""
        rows = [row for row in self.rows.forms if row.cleaned_data.get("part")]
        kept = ("from_position", "to_position", "reason")
        arguments = {name: self.cleaned_data[name] for name in kept}
        seen = None if self.is_copy else self.cleaned_data["seen"]
        codes = [code for row in rows for code in row.codes()]
        return arguments | {"names": [row.cleaned_data["part"] for row in rows], "codes": codes, "seen": seen}
