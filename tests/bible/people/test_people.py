"""Inviting, joining, changing roles and leaving."""

from __future__ import annotations

import datetime as dt
import re
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from bible.models import Invitation, Membership, Series
from bible.people.services import accept_invitation, change_role, invite, remove_member, withdraw_invitation
from bible.series.refusals import Refused
from bible.web.limits import Limit
from tests.factories import make_member, make_series, make_user
from tests.pages import methods_are_refused

pytestmark = pytest.mark.django_db
Role = Membership.Role


def link_in(response: Any) -> str:
    found = re.search(r'value="http://testserver(/join/[^"]+)"', response.content.decode())
    assert found
    return found[1]


def test_a_link_is_shown_once_and_only_its_hash_is_kept(series: Series, lead_client: Client) -> None:
    response = lead_client.post(reverse("invite", args=[series.slug]), {"role": "fill-in", "meant_for": "Ada"})
    token = link_in(response).split("/")[2]
    invitation = Invitation.objects.get()
    assert token not in str(vars(invitation))
    assert token not in lead_client.get(reverse("people", args=[series.slug])).content.decode()


def test_somebody_new_makes_an_account_and_is_in(series: Series, lead: Any) -> None:
    _, token = invite(series=series, role=Role.FILL_IN, by=lead)
    client = Client()
    assert series.title in client.get(reverse("join", args=[token])).content.decode()
    methods_are_refused(client, reverse("join", args=[token]), "put", "patch", "delete")
    answers = {"username": "nell", "password1": "grey-otter-7", "password2": "grey-otter-7"}
    response = client.post(reverse("new-account", args=[token]), answers)
    assert response.status_code == 302
    assert Membership.objects.get(user__username="nell").role == Role.FILL_IN
    assert client.get(reverse("series", args=[series.slug])).status_code == 200
    assert Client().get(reverse("join", args=[token])).status_code == 404


def test_a_weak_password_is_refused_and_the_name_kept(series: Series, lead: Any) -> None:
    _, token = invite(series=series, role=Role.FILL_IN, by=lead)
    answers = {"username": "nell", "password1": "nell", "password2": "nell"}
    response = Client().post(reverse("new-account", args=[token]), answers)
    assert response.status_code == 422
    assert 'value="nell"' in response.content.decode()
    assert not User.objects.filter(username="nell").exists()


def test_names_are_not_tried_out_at_will(series: Series, lead: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """The form says which names are taken: who holds a link must not ask it for a whole list of them."""
    monkeypatch.setattr(
        "bible.people.views.NEW_ACCOUNTS", Limit("new-accounts", 2, 60, "a lot of new accounts from here")
    )
    _, token = invite(series=series, role=Membership.Role.GUEST, by=lead)
    address, client = reverse("new-account", args=[token]), Client()
    for _ in range(2):
        assert client.post(address, {"username": lead.username}).status_code == 422
    refused = client.post(address, {"username": lead.username})
    assert (refused.status_code, "already exists" in refused.content.decode()) == (429, False)
    assert "a lot of new accounts from here" in refused.content.decode()
    assert 0 < int(refused["Retry-After"]) <= 60
    assert Client(REMOTE_ADDR="198.51.100.7").post(address, {"username": lead.username}).status_code == 422


def test_somebody_with_an_account_joins_after_signing_in(series: Series, lead: Any) -> None:
    _, token = invite(series=series, role=Role.EDITOR, by=lead)
    user, client = make_user(), Client()
    assert f"next={reverse('join', args=[token])}" in client.get(reverse("join", args=[token])).content.decode()
    client.force_login(user)
    assert client.post(reverse("join", args=[token])).status_code == 302
    assert Membership.objects.get(user=user).role == Role.EDITOR


def test_a_link_works_once(series: Series, lead: Any) -> None:
    invitation, _ = invite(series=series, role=Role.GUEST, by=lead)
    accept_invitation(invitation=invitation, by=make_user())
    with pytest.raises(Refused, match="used"):
        accept_invitation(invitation=invitation, by=make_user())


def test_who_belongs_already_does_not_use_a_link_up(series: Series, lead: Any) -> None:
    invitation, _ = invite(series=series, role=Role.GUEST, by=lead)
    with pytest.raises(Refused, match="already"):
        accept_invitation(invitation=invitation, by=lead)
    assert Membership.objects.get(user=lead).role == Role.LEAD
    assert Invitation.objects.usable().get() == invitation


def test_a_link_expires_and_can_be_withdrawn(series: Series, lead: Any) -> None:
    old, old_token = invite(series=series, role=Role.GUEST, by=lead)
    Invitation.objects.filter(pk=old.pk).update(expires_at=timezone.now() - dt.timedelta(seconds=1))
    gone, gone_token = invite(series=series, role=Role.GUEST, by=lead)
    withdraw_invitation(invitation=gone)
    for token in (old_token, gone_token):
        response = Client().get(reverse("join", args=[token]))
        assert response.status_code == 404
        assert series.title not in response.content.decode()


def test_the_last_lead_can_neither_go_nor_become_something_else(series: Series, lead_client: Client) -> None:
    membership = series.memberships.get()
    with pytest.raises(Refused, match="only lead"):
        remove_member(membership=membership)
    response = lead_client.post(reverse("change-role", args=[series.slug, membership.pk]), {"role": "guest"})
    assert response.status_code == 422
    assert "only lead colourist" in response.content.decode()
    make_member(series, "lead")
    change_role(membership=membership, role="guest")
    assert series.memberships.leads().count() == 1


def test_a_person_has_a_role_in_each_series(lead: Any, lead_client: Client, series: Series) -> None:
    other = make_series(title="Other")
    Membership.objects.create(series=other, user=lead, role=Role.GUEST)
    assert lead_client.post(reverse("invite", args=[other.slug]), {"role": "lead"}).status_code == 403
    assert lead_client.post(reverse("invite", args=[series.slug]), {"role": "lead"}).status_code == 200


def test_removing_somebody_shuts_the_door_at_once(series: Series, lead_client: Client, fill_in: Any) -> None:
    client = Client()
    client.force_login(fill_in)
    page = reverse("series", args=[series.slug])
    assert client.get(page).status_code == 200
    membership = series.memberships.get(user=fill_in)
    lead_client.post(reverse("remove-member", args=[series.slug, membership.pk]))
    assert client.get(page).status_code == 404


def test_a_refusal_says_who_may(series: Series, fill_in_client: Client, lead: Any) -> None:
    response = fill_in_client.post(reverse("invite", args=[series.slug]), {"role": "guest"})
    assert response.status_code == 403
    assert "Only a lead colourist may do this" in response.content.decode()
    assert str(lead) in response.content.decode()
