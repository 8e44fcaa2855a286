"""Forms of word that gets out."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib.auth.models import User
from django.core.exceptions import ValidationError

from bible.models import NoticeChoice
from bible.notices.outgoing import read_address
from bible.series.refusals import Refused

How = NoticeChoice.How


class NoticesForm(forms.Form):
    """Where to, how often, and of which series otherwise."""

    email = forms.EmailField(
        required=False,
        max_length=254,
        label="E-mail address",
        help_text="A new one counts once you have opened the link that is sent there. Empty: no e-mail.",
    )
    everywhere = forms.ChoiceField(choices=How.choices, label="Word comes")

    def __init__(self, user: User, *args: Any, **kwargs: Any) -> None:
        self.user = user
        super().__init__(*args, **kwargs)
        chosen = {choice.series_id: choice.how for choice in user.notice_choices.all()}
        self.initial.update(email=user.email, everywhere=chosen.get(None) or How.DAILY)
        for member in user.memberships.select_related("series").order_by("series__title"):
            choices = [("", "as above"), *How.choices]
            name = f"series-{member.series_id}"
            self.fields[name] = forms.ChoiceField(choices=choices, required=False, label=member.series.title)
            self.initial[name] = chosen.get(member.series_id, "")

    @property
    def by_series(self) -> dict[int, str]:
        series = {name: value for name, value in self.cleaned_data.items() if name.startswith("series-")}
        return {int(name.removeprefix("series-")): value for name, value in series.items()}


class WebhookForm(forms.Form):
    """The address of a program that is to be told."""

    url = forms.CharField(
        max_length=500, label="Address", help_text="https:// on the open network; redirects are not followed."
    )

    def clean_url(self) -> str:
        url = str(self.cleaned_data["url"])
        try:
            read_address(url)
        except Refused as refusal:
            raise ValidationError(str(refusal), code="address") from refusal
        return url
