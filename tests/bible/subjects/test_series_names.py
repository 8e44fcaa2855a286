"""A series that is started without a short name gets one made of its title."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse

from bible.models import Series
from tests.factories import make_series, make_user
from tests.pages import client_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def client() -> Client:
    return client_of(make_user())


def started(client: Client, title: str, slug: str = "") -> str:
    """The short name of a series that was started so."""
    response = client.post(reverse("new-series"), {"title": title, "slug": slug, "chart_kind": "64"})
    assert response.status_code == 302, response.context["form"].errors
    return Series.objects.latest("pk").slug


@pytest.mark.parametrize(
    ("title", "slug"),
    [
        ("The Slow River", "the-slow-river"),
        ("  Été à l’Île!  ", "ete-a-lile"),
        ("川", "series"),
        ("x" * 80, "x" * 40),
        ("a" * 39 + " b", "a" * 39),
    ],
)
def test_it_is_made_of_the_title(client: Client, title: str, slug: str) -> None:
    assert started(client, title) == slug


def test_a_taken_one_is_counted_on(client: Client) -> None:
    make_series(slug="the-slow-river")
    assert [started(client, "The Slow River") for _ in range(2)] == ["the-slow-river-2", "the-slow-river-3"]


def test_no_command_of_ours_becomes_a_short_name(client: Client) -> None:
    """``manage.py check guides`` is Django's own, so no series may be called like an application."""
    assert started(client, "guides") == "guides-2"


def test_a_short_name_that_is_said_stays(client: Client) -> None:
    assert started(client, "The Slow River", "river") == "river"


@pytest.mark.parametrize(("title", "slug"), [("", ""), ("River", "no good"), ("River", "guides"), ("River", "taken")])
def test_what_is_refused(client: Client, title: str, slug: str) -> None:
    make_series(slug="taken")
    response = client.post(reverse("new-series"), {"title": title, "slug": slug, "chart_kind": "64"})
    assert response.status_code == 422
    assert Series.objects.count() == 1
