"""A part that is not there yet, made where it is marked: “No part is called sky: make it, here.”

Whoever may change the bible makes it with one key more; anybody else who marks places the mark without a part, with a
note beside it that asks for one.
"""

from __future__ import annotations

from functools import partial
from typing import Any

from django import forms
from django.db import transaction

from bible.models import Costume, Part, Subject, Within
from bible.models.permissions import Permission
from bible.series.edits import add
from bible.web.access import MemberRequest
from guides.core.forms import UNKNOWN
from guides.core.notes import note_on_mark
from guides.models import Guide, Mark

PLACE = "place"
"""The kind of subject that a background belongs to, where the series has it."""
NEW_PLACE = "Backgrounds"
COSTUME = "as drawn"
NEW = "new"


class OfferedChoice(forms.ChoiceField):
    """Asked in the answer to a form that did not have it yet: what is usual stands chosen until something is said."""

    def bound_data(self, data: Any, initial: Any) -> Any:
        return initial if data is None else data


class NewPartMixin(forms.Form):
    """Fields of a mark's form that count only where the part as typed is not there: ``make`` or ``ask`` repeat what
    was typed, so that a name corrected since makes nothing."""

    make = forms.CharField(required=False, max_length=250, widget=forms.HiddenInput)
    ask = forms.CharField(required=False, max_length=250, widget=forms.HiddenInput)
    make_in = OfferedChoice(required=False, label="of")
    make_within = OfferedChoice(required=False, label="the same within", choices=Within, initial=Within.SCENE)

    new_part: str = ""
    """The name of the part that is to be made with the mark."""
    asked_part: str = ""
    """The name of the part that a lead is to be asked for."""

    def add_new_part_fields(self, guide: Guide) -> None:
        self.guide = guide
        if not self.is_bound:  # asked only where a name was refused
            for name in ("make", "ask", "make_in", "make_within"):
                del self.fields[name]
            return
        # Asked of the database where they are shown or answered, not with every mark.
        self.fields["make_in"].choices = partial(_places, guide)  # type: ignore[attr-defined]
        self.fields["make_in"].initial = partial(_usual_place, guide)

    @property
    def unknown(self) -> str:
        """What was typed as a part that is not there, where it could be one's name."""
        codes = {error.code for error in self.errors.as_data().get("part", [])}
        typed = " ".join(str(self.data.get("part", "")).split())
        return typed if UNKNOWN in codes and len(typed) <= (Part._meta.get_field("name").max_length or 0) else ""

    def let_part_be_new(self, data: dict[str, Any]) -> None:
        """Take the refusal of the part back where it is to be made, or asked for."""
        typed = self.unknown
        if typed and typed in (data.get("make"), data.get("ask")):
            self.new_part, self.asked_part = (typed, "") if data.get("make") == typed else ("", typed)
            del self.errors["part"]
            data["part"] = None

    def made_part(self, request: MemberRequest) -> Part | None:
        """Make the part that the form asks for; None where it asks for none.

        Raises:
            Refused: somebody may not, or has made one of this name meanwhile.
        """
        if not self.new_part:
            return None
        chosen = self.cleaned_data["make_in"] or _usual_place(self.guide)
        within = self.cleaned_data["make_within"] or Within.SCENE
        costume = _costume(self.guide, chosen, request)
        part = Part(costume=costume, name=self.new_part, rank=costume.parts.count(), held_within=within)
        add(row=part, by=request.user)
        return part


def may_make(request: MemberRequest) -> bool:
    return request.membership.may(Permission.EDIT_BIBLE)


def ask_for_part(mark: Mark, name: str, request: MemberRequest) -> None:
    """The note that asks a lead for a part."""
    note_on_mark(mark=mark, text=f"There is no part “{name}” yet: please make it.", by=request.user)


def _places(guide: Guide) -> list[tuple[str, str]]:
    """Costumes of places in use at the guide's issue, then a place of its own for backgrounds."""
    in_use = Costume.objects.in_use(guide.issue.position).active()
    costumes = in_use.filter(subject__series=guide.series_id, subject__kind=PLACE, subject__archived_at=None)
    rows = costumes.select_related("subject").order_by("subject__name", "rank", "id")
    offered = [(str(costume.pk), f"{costume.subject.name}, {costume.name}") for costume in rows]
    known = any(label == f"{NEW_PLACE}, {COSTUME}" for _, label in offered)
    return offered if known else [*offered, (NEW, f"{NEW_PLACE}, {COSTUME} (new)")]


def _usual_place(guide: Guide) -> str:
    """The place whose part was marked last on this page, else the first there is."""
    last = Mark.objects.filter(guide=guide, deleted_at=None, part__costume__subject__kind=PLACE).order_by("-pk")
    return str(last.values_list("part__costume", flat=True).first() or _places(guide)[0][0])


@transaction.atomic
def _costume(guide: Guide, chosen: str, request: MemberRequest) -> Costume:
    key = 0 if chosen == NEW else int(chosen)
    costume = Costume.objects.filter(subject__series=guide.series_id, pk=key).select_related("subject").first()
    if costume:
        return costume
    kinds = guide.series.kinds
    kind = PLACE if PLACE in kinds else kinds.current[0].key
    subject = guide.series.subjects.filter(name=NEW_PLACE).first()
    if subject is None:
        add(row=(subject := Subject(series=guide.series, name=NEW_PLACE, kind=kind)), by=request.user)
    costume = subject.costumes.filter(name=COSTUME).first()
    if costume is None:
        add(row=(costume := Costume(subject=subject, name=COSTUME)), by=request.user)
    return costume
