"""What every answer tells a browser, whoever asks and whatever comes of it; and what production adds."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from bible.models import Membership
from tests.pages import client_of
from tests.world import IN_SERIES, World, url

ROOT = Path(__file__).resolve().parents[1]

EVERYWHERE = {
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
}

ASKED_ANEW = {"pocket", "as-printed"}
"""Pages that a browser keeps and asks about: they say so themselves."""


def hold(response: Any, what: str) -> None:
    for name, value in EVERYWHERE.items():
        assert response.headers.get(name) == value, (what, name)
    assert "camera=()" in response.headers["Permissions-Policy"], what
    directives = dict(
        part.strip().partition(" ")[::2] for part in response.headers["Content-Security-Policy"].split(";")
    )
    assert directives["default-src"] == "'self'", what
    assert directives["object-src"] == directives["frame-ancestors"] == "'none'", what
    assert directives["base-uri"] == directives["form-action"] == "'self'", what
    assert "unsafe" not in response.headers["Content-Security-Policy"], what
    assert not {"script-src", "style-src", "script-src-elem"} & set(directives), what


@pytest.mark.django_db
def test_every_address_of_a_series_has_the_headers() -> None:
    world = World()
    lead, stranger = client_of(world.people[Membership.Role.LEAD]), Client()
    for address in IN_SERIES:
        path = url(address, world.series, world.arguments(address))
        for client in (lead, stranger):
            hold(client.get(path), path)


@pytest.mark.django_db
def test_so_has_what_lies_outside_and_what_goes_wrong(monkeypatch: pytest.MonkeyPatch) -> None:
    from bible.web import limits

    client = Client(raise_request_exception=False)
    for path in ("/", "/sign-in/", "/nowhere", "/healthz/live", "/api/v1/openapi.json", "/s/none/", "/join/x/"):
        hold(client.get(path), path)
    strict = Client(enforce_csrf_checks=True)
    refused = strict.post(reverse("login"), {"username": "a", "password": "b"})
    assert refused.status_code == 403
    hold(refused, "a form without its token")

    def broken(*args: object) -> None:
        raise RuntimeError("hush")

    monkeypatch.setattr(limits.Allowance, "spend", broken)
    failed = client.post(reverse("login"), {"username": "a", "password": "b"})
    assert failed.status_code == 500
    assert "hush" not in failed.content.decode()
    hold(failed, "a fault of ours")


ASKS = """
import json, django
django.setup()
from django.core.management import call_command
call_command("migrate", verbosity=0)
call_command("collectstatic", verbosity=0, interactive=False)
from django.test import Client
from django.contrib.auth.models import User
User.objects.create_user("nell", password="nine-quiet-herons")
tls = {"HTTP_HOST": "bible.example", "HTTP_X_FORWARDED_PROTO": "https"}
client = Client(headers={})
said = {}
plain = client.get("/sign-in/", HTTP_HOST="bible.example")
said["plain"] = [plain.status_code, plain["Location"]]
said["live"] = client.get("/healthz/live", HTTP_HOST="bible.example").status_code
page = client.get("/sign-in/", **tls)
said["hsts"] = page["Strict-Transport-Security"]
said["host"] = client.get("/sign-in/", **(tls | {"HTTP_HOST": "evil.example"})).status_code
done = client.post("/sign-in/", {"username": "nell", "password": "nine-quiet-herons"}, **tls)
said["cookies"] = {name: [morsel["secure"], morsel["httponly"], morsel["samesite"]] for name, morsel in client.cookies.items()}
said["done"] = done.status_code
print("SAID" + json.dumps(said))
"""


def test_production_insists_on_tls_its_host_and_safe_cookies(tmp_path: Path) -> None:
    environment = os.environ | {
        "BIBLE_PRODUCTION": "1",
        "SECRET_KEY": "x7" * 30,
        "ALLOWED_HOSTS": "bible.example",
        "BIBLE_DATA": str(tmp_path),
        "DJANGO_SETTINGS_MODULE": "bible.settings",
        "DATABASE_URL": f"sqlite:///{tmp_path}/x.sqlite3",
    }
    ran = subprocess.run([sys.executable, "-c", ASKS], cwd=ROOT, env=environment, capture_output=True, text=True)
    assert ran.returncode == 0, ran.stderr
    said = json.loads(ran.stdout.split("SAID")[1])
    assert said["plain"] == [301, "https://bible.example/sign-in/"]
    assert said["live"] == 200
    assert said["hsts"] == "max-age=31536000; includeSubDomains"
    assert said["host"] == 400
    assert said["done"] == 302
    assert said["cookies"]["sessionid"] == [True, True, "Lax"]
    assert said["cookies"]["csrftoken"][0] is True


@pytest.mark.parametrize("missing", ["SECRET_KEY"])
def test_production_does_not_start_without_a_secret(missing: str, tmp_path: Path) -> None:
    environment = {name: value for name, value in os.environ.items() if name != missing}
    environment |= {"BIBLE_PRODUCTION": "1", "BIBLE_DATA": str(tmp_path)}
    ran = subprocess.run(
        [sys.executable, "manage.py", "check"], cwd=ROOT, env=environment, capture_output=True, text=True
    )
    assert ran.returncode != 0
    assert missing in ran.stderr


@pytest.mark.django_db
def test_no_page_of_somebodys_is_shown_again_from_a_browsers_memory() -> None:
    """“Back” shows a stored page as it was (RFC 9111, section 6), so pages are not stored."""
    world = World()
    lead = client_of(world.people[Membership.Role.LEAD])
    pages = 0
    for address in IN_SERIES:
        path = url(address, world.series, world.arguments(address))
        response = lead.get(path)
        said = response.headers["Cache-Control"]
        assert "private" in said, path
        if response.headers["Content-Type"].startswith("text/html") and response.status_code == 200:
            pages += 1
            assert "no-store" in said or address.name in ASKED_ANEW, path
    assert pages > 60


@pytest.mark.django_db
def test_what_was_refused_stays_for_whoever_goes_back_to_it() -> None:
    world = World()
    lead = client_of(world.people[Membership.Role.LEAD])
    refused = lead.post(reverse("new-issue", args=[world.series.slug]), {"number": ""})
    assert (refused.status_code, refused.headers["Cache-Control"]) == (422, "private, no-cache")
