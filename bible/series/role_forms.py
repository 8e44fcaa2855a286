"""The form of a series' own lists: its roles and its kinds of subject, all of them on one page."""

from __future__ import annotations

from functools import cached_property
from typing import Any

from django import forms

from bible.models import Series
from bible.models.roles import (
    BASE_ROLE,
    MOST_ENTRIES,
    NAME_LENGTH,
    SIGN_LENGTH,
    BadOwnList,
    KindList,
    Role,
    RoleList,
    SubjectKind,
)
from bible.series.edits import StaleEdit, fingerprint

COMPARED = ("roles_data", "kinds_data")
BLANK_ROWS = 3
"""For entries that are not there yet; who needs more saves and goes on."""


class EntryRowForm(forms.Form):
    """An entry of a list; a row without a key and a name is none. Entries come in the order of their numbers."""

    key = forms.CharField(required=False, max_length=20, widget=forms.HiddenInput)
    name = forms.CharField(required=False, max_length=NAME_LENGTH)
    order = forms.IntegerField(required=False, min_value=1, max_value=999)
    archived = forms.BooleanField(required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        title = self.initial.get("name") or "new"
        for name, field in self.fields.items():
            field.widget.attrs |= {"autocomplete": "off", "aria-label": f"{field.label or name}: {title}"}
        self.fields["order"].widget.attrs["class"] = "order-number"

    def clean_name(self) -> str:
        return " ".join(self.cleaned_data["name"].split())

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        if not data.get("name") and self.initial.get("key"):
            self.add_error("name", "What is there keeps a name: archive what is no longer wanted.")
        elif not data.get("name") and any(data.get(field) for field in ("sign", "kinds", "archived")):
            self.add_error("name", "Say what it is called.")
        return data


class RoleRowForm(EntryRowForm):
    """A role; without kinds it is for every kind of subject."""

    sign = forms.CharField(required=False, max_length=SIGN_LENGTH)
    kinds = forms.MultipleChoiceField(required=False, widget=forms.CheckboxSelectMultiple)

    def __init__(self, series: Series, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["kinds"].choices = series.kinds.choices(*self.initial.get("kinds", ()))  # type: ignore[attr-defined]
        self.fields["sign"].widget.attrs["class"] = "sign"
        if self.initial.get("key") == BASE_ROLE:
            self.fields["kinds"].disabled = self.fields["archived"].disabled = True


RoleSet = forms.formset_factory(RoleRowForm, extra=BLANK_ROWS, max_num=MOST_ENTRIES, absolute_max=MOST_ENTRIES)
KindSet = forms.formset_factory(EntryRowForm, extra=BLANK_ROWS, max_num=MOST_ENTRIES, absolute_max=MOST_ENTRIES)


class OwnListsForm(forms.Form):
    """What a series' roles and kinds are to be."""

    seen = forms.CharField(required=False, max_length=64, widget=forms.HiddenInput)

    def __init__(self, series: Series, data: Any = None) -> None:
        self.series = series
        super().__init__(data)
        self.initial["seen"] = fingerprint(series, COMPARED)

    @cached_property
    def roles(self) -> Any:
        rows = [
            {"key": role.key, "name": role.name, "sign": role.sign, "kinds": role.kinds, "archived": role.archived,
             "order": at}
            for at, role in enumerate(self.series.roles, 1)
        ]  # fmt: skip
        return RoleSet(
            self.data if self.is_bound else None,
            initial=rows, prefix="role", form_kwargs={"series": self.series},
        )  # fmt: skip

    @cached_property
    def kinds(self) -> Any:
        rows = [
            {"key": kind.key, "name": kind.name, "archived": kind.archived, "order": at}
            for at, kind in enumerate(self.series.kinds, 1)
        ]
        return KindSet(self.data if self.is_bound else None, initial=rows, prefix="kind")

    def is_valid(self) -> bool:
        if not all([super().is_valid(), self.roles.is_valid(), self.kinds.is_valid()]):
            return False
        try:
            self.edit  # noqa: B018  (made on first use)
        except BadOwnList as error:
            self.add_error(None, f"This can't be the list: {error}.")
        return not self.errors

    @cached_property
    def edit(self) -> dict[str, Any]:
        """What the columns are to hold. Raises ``BadOwnList``."""
        kinds = KindList(tuple(SubjectKind(key, row["name"], row["archived"]) for key, row in self._rows("kinds")))
        roles = RoleList(
            tuple(
                Role(key, row["name"], row["archived"], row["sign"].strip(), tuple(row["kinds"]))
                for key, row in self._rows("roles")
            )
        )
        return {"roles_data": roles.to_data(), "kinds_data": kinds.to_data()}

    def _rows(self, which: str) -> list[tuple[str, dict[str, Any]]]:
        """(key, what is said) of the entries in the order that is asked for. What is stored can't be left out, and a
        key is made for what is new."""
        stored = getattr(self.series, which)
        rows = [form.cleaned_data for form in getattr(self, which) if form.cleaned_data.get("name")]
        rows.sort(key=lambda row: row["order"] or MOST_ENTRIES * 1_000)
        known = [row["key"] for row in rows if row["key"]]
        if sorted(known) != sorted(stored.keys):
            raise BadOwnList("an entry that is stored is missing, or one is named that is not stored")
        keys: list[str] = []
        for row in rows:
            keys.append(row["key"] or stored.free_key(row["name"], *keys))
        return list(zip(keys, rows, strict=True))

    def show(self, stale: StaleEdit) -> None:
        """Somebody was faster: what was typed stays, and the form sent again has seen what there is now."""
        now = f"{stale.stored.roles.known()}; {stale.stored.kinds.known()}"
        self.add_error(None, f"{stale} Now there are: {now}. Save again if yours should replace that.")
        self.data = dict(self.data.items()) | {"seen": fingerprint(stale.stored, COMPARED)}
