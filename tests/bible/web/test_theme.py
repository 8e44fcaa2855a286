"""Choosing the greys leads back to where it was done, and nowhere else."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse

pytestmark = pytest.mark.django_db

HOME = "/"


@pytest.mark.parametrize(
    ("said", "there"),
    [
        ("/help/keys/", "/help/keys/"),
        ("/s/river/flags/?kind=differs", "/s/river/flags/?kind=differs"),
        ("", HOME),
        ("-1", HOME),
        ("home", HOME),
        ("’; --", HOME),
        ("https://elsewhere.example/", HOME),
        ("//elsewhere.example/", HOME),
        ("/\\elsewhere.example/", HOME),
    ],
)
def test_where_a_choice_of_greys_leads(said: str, there: str) -> None:
    answer = Client().post(reverse("theme"), {"theme": "dark", "next": said})
    assert answer.status_code == 302
    assert answer.headers["Location"] == there
    assert answer.cookies["theme"].value == "dark"
