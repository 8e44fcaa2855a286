"""A person's series, starting one, and signing in."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from bible.models import Membership, Series
from bible.models.permissions import Permission
from tests.factories import PASSWORD, make_member, make_series, make_user
from tests.pages import client_of, methods_are_refused

pytestmark = pytest.mark.django_db


def start(client: Client, **said: str) -> Any:
    return client.post(
        reverse("new-series"), {"title": "The Long Quay", "slug": "long-quay", "chart_kind": "64"} | said
    )


def test_the_only_series_opens_by_itself_and_all_can_be_seen(lead_client: Client, series: Series) -> None:
    assert lead_client.get("/")["Location"] == series.get_absolute_url()
    assert series.title in lead_client.get("/?all").content.decode()


def test_other_peoples_series_are_not_listed_not_even_to_a_superuser(series: Series) -> None:
    chief = make_user(is_superuser=True, is_staff=True)
    text = client_of(chief).get("/").content.decode()
    assert series.title not in text
    assert "You belong to no series yet" in text
    assert client_of(chief).get(series.get_absolute_url()).status_code == 404


def test_three_series_or_thirty_cost_as_many_queries(lead: Any, lead_client: Client) -> None:
    counts = []
    for more in (3, 27):
        for _ in range(more):
            Membership.objects.create(series=make_series(), user=lead, role="lead")
        with CaptureQueriesContext(connection) as asked:
            lead_client.get("/?all")
        counts.append(len(asked))
    assert counts[0] == counts[1]


def test_whoever_starts_a_series_leads_it() -> None:
    person = make_user()
    answer = start(client_of(person))
    series = Series.objects.get(slug="long-quay")
    assert answer["Location"] == series.get_absolute_url()
    assert series.memberships.get().user == person
    assert series.memberships.get().may(Permission.LOCK)


@pytest.mark.parametrize(
    ("said", "told"),
    [
        ({"slug": "slow-river"}, "already exists"),
        ({"slug": "bible"}, "is a word this program uses itself"),
        ({"slug": "a b"}, "Enter a valid"),
        ({"title": ""}, "required"),
        ({"title": "x" * 121}, "at most 120"),
        ({"chart_kind": "house"}, "Select a valid choice"),
    ],
)
def test_bad_input_is_told_and_kept(lead_client: Client, series: Series, said: dict[str, str], told: str) -> None:
    answer = start(lead_client, **said)
    assert answer.status_code == 422
    text = answer.content.decode()
    assert told in text
    kept = {"title": "The Long Quay", "slug": "long-quay"} | said
    for name in ("title", "slug"):
        if kept[name]:
            assert f'value="{kept[name]}"' in text
    assert Series.objects.count() == 1


def test_a_request_with_nothing_in_it_is_a_refused_form_too(lead_client: Client) -> None:
    assert lead_client.post(reverse("new-series")).status_code == 422


def test_signing_in_leads_where_one_was_going_and_nowhere_else(series: Series) -> None:
    person = make_member(series, "guest")
    wanted = reverse("flags", args=[series.slug])
    client = Client()
    door = client.get(wanted)["Location"]
    said = {"username": person.username, "password": PASSWORD}
    assert client.post(door, said | {"next": wanted})["Location"] == wanted
    away = Client().post(reverse("login"), said | {"next": "https://elsewhere.example/"})
    assert away["Location"] == reverse("home")
    refused = Client().post(reverse("login"), said | {"password": "wrong"})
    assert refused.status_code == 200
    assert "correct username and password" in refused.content.decode()


def test_signing_out_takes_a_post(lead_client: Client) -> None:
    assert lead_client.get(reverse("logout")).status_code == 405
    assert lead_client.post(reverse("logout"))["Location"] == reverse("login")
    assert lead_client.get("/").status_code == 302


def test_wrong_methods(lead_client: Client) -> None:
    methods_are_refused(lead_client, reverse("home"), "post", "delete")
    methods_are_refused(lead_client, reverse("new-series"), "put", "delete")


def test_every_page_carries_the_content_policy(lead_client: Client, series: Series) -> None:
    policy = lead_client.get(series.get_absolute_url())["Content-Security-Policy"]
    assert "default-src 'self'" in policy
    assert "unsafe-inline" not in policy
    assert "unsafe-eval" not in policy
