"""Forms about people."""

from __future__ import annotations

from django import forms
from django.contrib.auth.forms import UserCreationForm
from django.contrib.auth.models import User
from django.db import transaction

from bible.models import Invitation, Membership, ReadToken, Series
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
    """A token's name; the token itself is made by the server."""

    class Meta:
        model = ReadToken
        fields = ["name"]
