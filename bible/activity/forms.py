"""Which deeds."""

from __future__ import annotations

from typing import Any, cast

from django import forms

from bible.models import CREW_ROOMS, ROOMS, Activity, ActivityKind, ActivityQuerySet, ActivityRoom, Membership
from bible.models.naming import people
from bible.models.permissions import Permission
from bible.series.forms import IssueNumberField, PersonField
from bible.web.whole_numbers import whole_number


class ActivityForm(forms.Form):
    """Whose deeds, and what they are about: which room and kind, which subject, between which issues and days."""

    kind = forms.ChoiceField(required=False, label="About")
    deed = forms.ChoiceField(required=False, label="What was done")
    who = PersonField(people().none(), label="By", empty_label="everybody")
    since = forms.DateField(required=False, label="From day", widget=forms.DateInput(attrs={"type": "date"}))
    until = forms.DateField(required=False, label="To day", widget=forms.DateInput(attrs={"type": "date"}))

    def __init__(self, membership: Membership, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        hidden = () if membership.may(Permission.DISCUSS) else CREW_ROOMS
        kinds = cast(forms.ChoiceField, self.fields["kind"])
        kinds.choices = [
            ("", "everything"),
            *[(room.value, room.label) for room in ActivityRoom if room not in hidden],
        ]
        deeds = cast(forms.ChoiceField, self.fields["deed"])
        deeds.choices = [
            ("", "anything"),
            *[(deed.value, deed.label) for deed in ActivityKind if ROOMS.get(deed) not in hidden],
        ]
        series = membership.series
        self.fields["subject"] = forms.ModelChoiceField(
            series.subjects.order_by("name"), required=False, label="Subject", empty_label="all"
        )
        self.fields["from_issue"] = IssueNumberField(series, required=False, label="From issue")
        self.fields["to_issue"] = IssueNumberField(series, required=False, label="To issue")
        who = cast(PersonField, self.fields["who"])
        who.queryset = people().filter(memberships__series=membership.series_id).by_name()
        asked = whole_number(str(self.data.get("who", "")))
        if asked is not None and not who.queryset.filter(pk=asked).exists():
            # Somebody who has left: what they did stays, and so does the way to it.
            did = Activity.objects.visible_to(membership).filter(by_id=asked)
            who.queryset = people().filter(pk__in=[asked] if did.exists() else [])

    def chosen(self, rows: ActivityQuerySet) -> ActivityQuerySet:
        """Those of the deeds that the form asks for; none where it cannot be read."""
        if not self.is_valid():
            return rows.none()
        data = self.cleaned_data
        fields = {"room": data["kind"], "kind": data["deed"], "by": data["who"]}
        rows = rows.filter(**{name: value for name, value in fields.items() if value})
        if data["subject"]:
            rows = rows.about_subject(data["subject"].pk)
        first, last = data["from_issue"], data["to_issue"]
        if first or last:
            rows = rows.between(first and first.position, last and last.position)
        return rows.on_days(data["since"], data["until"])
