"""A guide's pictures go to members only, by Django or by the web server in front."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from bible.models import Series
from guides.models import Guide
from tests.factories import make_guide, make_issue, make_member
from tests.pages import client_of, member_client, methods_are_refused

pytestmark = pytest.mark.django_db


@pytest.fixture
def guide(series: Series) -> Guide:
    return make_guide(make_issue(series))


def address(guide: Guide, kind: str = "screen") -> str:
    return reverse("picture", args=[guide.series.slug, guide.pk, kind])


def body(answer: Any) -> bytes:
    return b"".join(answer.streaming_content) if answer.streaming else answer.content


@pytest.mark.parametrize("kind", ["original", "screen", "thumb"])
@pytest.mark.parametrize("role", ["lead", "fill-in", "editor", "guest"])
def test_every_member_sees_it(guide: Guide, kind: str, role: str) -> None:
    answer = member_client(guide.series, role).get(address(guide, kind))
    assert answer.status_code == 200
    assert answer["Content-Type"] == "image/jpeg"
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert "private" in answer["Cache-Control"], "no shared cache may keep it"
    with getattr(guide, kind).open() as file:
        assert body(answer) == file.read()


def test_nobody_else_does(guide: Guide) -> None:
    assert Client().get(address(guide))["Location"].startswith(reverse("login"))
    answer = client_of(make_member(None, "lead")).get(address(guide))
    assert answer.status_code == 404
    assert not answer.streaming


def test_not_through_another_series_name(guide: Guide) -> None:
    other = make_member(None, "lead")
    slug = other.memberships.get().series.slug
    assert client_of(other).get(reverse("picture", args=[slug, guide.pk, "screen"])).status_code == 404


def test_media_has_no_address_of_its_own(guide: Guide, lead_client: Client) -> None:
    for path in (f"/media/{guide.screen.name}", f"/{guide.screen.name}", f"/static/{guide.screen.name}"):
        assert lead_client.get(path).status_code == 404


def test_the_web_server_in_front_may_do_the_sending(guide: Guide, lead_client: Client, settings: Any) -> None:
    settings.SENDFILE_PREFIX = "/internal-media"
    answer = lead_client.get(address(guide))
    assert answer["X-Accel-Redirect"] == f"/internal-media/{guide.screen.name}"
    assert answer["Content-Type"] == "image/jpeg"
    assert answer.content == b""
    assert "X-Accel-Redirect" not in client_of(make_member(None)).get(address(guide)).headers


def test_a_file_that_is_gone_is_not_found(guide: Guide, lead_client: Client) -> None:
    guide.thumb.storage.delete(str(guide.thumb.name))
    assert lead_client.get(address(guide, "thumb")).status_code == 404


def test_what_there_is_no_address_for(guide: Guide, lead_client: Client) -> None:
    assert lead_client.get(address(guide).replace("screen", "secret")).status_code == 404
    assert lead_client.get(address(guide).replace(str(guide.pk), "9" * 30)).status_code == 404
    methods_are_refused(lead_client, address(guide), "post", "put", "delete")
