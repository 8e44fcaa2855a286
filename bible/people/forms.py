"""Forms about people."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib.auth.forms import UserCreationForm
from django.contrib.auth.models import User
from django.db import transaction

from bible.models import Invitation, Membership, ReadToken, Series
from bible.models.permissions import Permission
from bible.people.services import accept_invitation


class InvitationForm(forms.ModelForm):
    class Meta:
        model = Invitation
        fields = ["role", "meant_for"]


class RoleForm(forms.Form):
    role = forms.ChoiceField(choices=Membership.Role)


class LeadFactorForm(forms.ModelForm):
    """Whether a series asks its leads for a second factor."""

    class Meta:
        model = Series
        fields = ["leads_need_second_factor"]


class NewAccountForm(UserCreationForm):
    """An account made while following an invitation."""

    class Meta(UserCreationForm.Meta):
        model = User
        fields = ("username", "first_name", "last_name")

    @transaction.atomic
    def join(self, invitation: Invitation) -> User:
        user = self.save()
        accept_invitation(invitation=invitation, by=user)
        return user


class ReadTokenForm(forms.ModelForm):
    """A token's name, and whether it may write, where its owner may; the token itself is made by the server."""

    def __init__(self, membership: Membership, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not membership.may(Permission.PROPOSE):
            del self.fields["may_write"]

    class Meta:
        model = ReadToken
        fields = ["name", "may_write"]
