"""What the tests of the pages share: htmx's headers, a signed-in client, refused methods."""

from __future__ import annotations

from typing import Any

from django.test import Client

from bible.models import Series
from tests.factories import make_member

HTMX = {"HX-Request": "true"}


def htmx(target: str) -> dict[str, str]:
    """The headers htmx sends with a request that swaps one element."""
    return HTMX | {"HX-Target": target}


def client_of(user: Any) -> Client:
    client = Client()
    client.force_login(user)
    return client


def member_client(series: Series, role: str) -> Client:
    return client_of(make_member(series, role))


def methods_are_refused(client: Client, url: str, *methods: str) -> None:
    for method in methods:
        assert getattr(client, method)(url).status_code == 405, f"{method} {url}"
