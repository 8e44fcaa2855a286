"""Which deeds."""

from __future__ import annotations

from typing import Any, cast

from django import forms

from bible.models import CREW_ROOMS, Activity, ActivityRoom, Membership
from bible.models.naming import people
from bible.models.permissions import Permission
from bible.series.forms import PersonField
from bible.web.whole_numbers import whole_number


class ActivityForm(forms.Form):
    """Whose deeds, and what they are about."""

    kind = forms.ChoiceField(required=False, label="About")
    who = PersonField(people().none(), label="By", empty_label="everybody")

    def __init__(self, membership: Membership, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        hidden = () if membership.may(Permission.DISCUSS) else CREW_ROOMS
        kinds = cast(forms.ChoiceField, self.fields["kind"])
        kinds.choices = [
            ("", "everything"),
            *[(room.value, room.label) for room in ActivityRoom if room not in hidden],
        ]
        who = cast(PersonField, self.fields["who"])
        who.queryset = people().filter(memberships__series=membership.series_id).by_name()
        asked = whole_number(str(self.data.get("who", "")))
        if asked is not None and not who.queryset.filter(pk=asked).exists():
            # Somebody who has left: what they did stays, and so does the way to it.
            did = Activity.objects.visible_to(membership).filter(by_id=asked)
            who.queryset = people().filter(pk__in=[asked] if did.exists() else [])
