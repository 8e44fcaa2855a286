"""What is logged of a request, and that nothing of it tells who people are or what they wrote."""

from __future__ import annotations

import io
import json
import logging
import re
from collections.abc import Iterator
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from bible.models import Allowance, Membership
from bible.people.services import invite, make_read_token
from bible.web.logs import WithoutPeople
from tests.factories import PASSWORD, make_member, make_series, make_user
from tests.pages import HTMX, client_of
from tests.test_scripts import pages, poison
from tests.world import World

pytestmark = pytest.mark.django_db

KEYS = {
    "at",
    "level",
    "logger",
    "request_id",
    "message",
    "method",
    "route",
    "status",
    "ms",
    "user",
    "fault",
    "raised_at",
}
NUMBER = re.compile(r"[0-9a-f]{32}")


@pytest.fixture
def lines() -> Iterator[Any]:
    """The log as production writes it, as a function that gives the lines so far."""
    out, root = io.StringIO(), logging.getLogger()
    handler, loud = logging.StreamHandler(out), logging.getLogger("bible.requests")
    handler.setFormatter(WithoutPeople())
    root.addHandler(handler)
    before = loud.level
    loud.setLevel(logging.INFO)

    def read() -> list[dict[str, Any]]:
        return [json.loads(line) for line in out.getvalue().splitlines()]

    yield read
    root.removeHandler(handler)
    loud.setLevel(before)


def answered(lines: Any) -> list[dict[str, Any]]:
    return [line for line in lines() if line["logger"] == "bible.requests"]


def test_a_request_is_one_line_of_what_is_harmless(lines: Any) -> None:
    series = make_series()
    user = make_member(series, "lead")
    answer = client_of(user).get(reverse("bible", args=[series.slug]), {"q": "the secret cloak"})
    (line,) = answered(lines)
    assert line["message"] == "answered"
    assert (line["method"], line["route"], line["status"], line["user"]) == ("GET", "bible", 200, user.pk)
    assert 0 < line["ms"] < 60_000
    assert NUMBER.fullmatch(line["request_id"])
    assert answer["X-Request-ID"] == line["request_id"]


def test_nobody_is_looked_up_for_the_log(lines: Any) -> None:
    Client().get(reverse("health-live"))
    assert answered(lines)[0]["user"] is None


def test_no_line_tells_names_words_codes_files_tokens_or_addresses(lines: Any) -> None:
    """Every address of a poisoned series, and what goes wrong around it."""
    world = World()
    poison(world)
    lead = world.people[Membership.Role.LEAD]
    _, token = invite(series=world.series, role="guest", by=lead)
    _, key = make_read_token(membership=world.series.memberships.get(user=lead), name="so")
    client, stranger = client_of(lead), Client(raise_request_exception=False)
    for _, path in pages(world):
        client.get(path, {"q": "xss-asked"}, headers={"User-Agent": "xss-agent", "Referer": "http://xss/"})
        client.post(path, {"code": "xss-sent", "name": "xss-sent"}, headers=HTMX)
    for path in (reverse("join", args=[token]), f"/s/{world.series.slug}/", "/xss-nowhere/", f"/join/{token}x/"):
        stranger.get(path)
    stranger.get("/api/v1/series", headers={"Authorization": f"Bearer {key}"})
    make_user(username="xss-nell")
    stranger.post(reverse("login"), {"username": "xss-nell", "password": "xss-wrong"})
    stranger.post(reverse("login"), {"username": "xss-nell", "password": PASSWORD})
    stranger.get("/", headers={"Host": "xss.example"})
    stranger.generic("XSS", "/sign-in/")
    Client(enforce_csrf_checks=True).post(reverse("login"), {"username": "xss"})
    kept = json.dumps(lines())
    assert len(lines()) > 200
    assert {key for line in lines() for key in line} <= KEYS
    session = client.session.session_key or "-"
    for secret in ("xss", world.series.slug, token, key, PASSWORD, session, "127.0.0.1", "/s/"):
        assert secret not in kept, secret


def test_a_fault_is_told_by_class_and_place_and_found_by_its_number(
    lines: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*args: object, **kwargs: object) -> None:
        raise RuntimeError("DETAIL: Key (username)=(xss-nell) exists")

    monkeypatch.setattr(Allowance, "spend", broken)
    answer = Client(raise_request_exception=False).post(reverse("login"), {"username": "xss-nell"})
    assert answer.status_code == 500
    number = answer["X-Request-ID"]
    assert f"this number: <code>{number}</code>" in answer.content.decode()
    (fault,) = [line for line in lines() if "fault" in line]
    assert (fault["request_id"], fault["fault"], fault["level"]) == (number, "RuntimeError", "ERROR")
    assert fault["raised_at"][-1].endswith(" broken")
    assert any("accounts/sign_in_views.py" in place for place in fault["raised_at"])
    assert "xss" not in json.dumps(lines())


@pytest.mark.parametrize(
    ("proxies", "said", "taken"),
    [
        (1, "0123456789abcdef" * 2, True),
        (0, "0123456789abcdef" * 2, False),
        (1, "<script>", False),
        (1, "a" * 33, False),
    ],
)
def test_a_number_of_the_web_server_in_front_is_taken_over(
    settings: Any, proxies: int, said: str, taken: bool
) -> None:
    settings.PROXIES = proxies
    answer = Client().get(reverse("health-live"), headers={"X-Request-ID": said})
    assert (answer["X-Request-ID"] == said) is taken
    assert NUMBER.fullmatch(answer["X-Request-ID"])


def test_other_peoples_records_keep_their_words_to_themselves() -> None:
    def line(name: str, level: int, message: str, *parameters: object) -> dict[str, Any]:
        record = logging.LogRecord(name, level, "x.py", 1, message, parameters, None)
        return json.loads(WithoutPeople().format(record))

    assert line("guides.x", logging.WARNING, "%d pieces", 3)["message"] == "3 pieces"
    assert "message" not in line("django.security.DisallowedHost", logging.ERROR, "Invalid host: 'xss'")
    assert (
        line("gunicorn.error", logging.INFO, "Booting worker with pid: %s", 7)["message"]
        == "Booting worker with pid: %s"
    )
    assert "message" not in line("gunicorn.error", logging.WARNING, "Invalid request from ip=192.0.2.1")
