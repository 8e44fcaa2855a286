"""What a supervisor is told, and that it is told nothing more."""

from __future__ import annotations

from typing import Any

import pytest
from django.core.files.storage import FileSystemStorage, default_storage
from django.db import OperationalError, connection
from django.db.migrations.recorder import MigrationRecorder
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from django_tasks_db.models import DBTaskResult

from bible.models import UNHEARD
from bible.web import health
from tests.background import ask
from tests.pages import methods_are_refused

SECRET = "host=10.0.0.7 password=hush"


def asked(name: str) -> Any:
    return Client().get(reverse(name))


def test_a_live_worker_says_so_without_its_database() -> None:
    # No database is allowed in this test: touching it would fail.
    answer = asked("health-live")
    assert (answer.status_code, answer.content) == (200, b"live\n")


@pytest.mark.django_db
def test_a_ready_worker_names_its_parts() -> None:
    answer = asked("health-ready")
    assert (answer.status_code, answer.content) == (200, b"database: ok\nmigrations: ok\npictures: ok\nwork: ok\n")
    assert "no-store" in answer["Cache-Control"]
    assert not answer.cookies
    assert default_storage.listdir("health")[1] == []


@pytest.mark.django_db
def test_work_that_waits_for_no_worker_is_told_and_takes_no_web_worker_out_of_service() -> None:
    ask()
    DBTaskResult.objects.update(enqueued_at=timezone.now() - 2 * UNHEARD)
    answer = asked("health-ready")
    assert (answer.status_code, answer.content.splitlines()[-1]) == (200, b"work: work waits and no worker does it")


@pytest.mark.django_db
def test_a_migration_that_is_missing_is_counted() -> None:
    MigrationRecorder(connection).record_unapplied("guides", "0001_initial")
    answer = asked("health-ready")
    assert answer.status_code == 503
    assert b"migrations: 1 to be applied\n" in answer.content


@pytest.mark.django_db
@pytest.mark.parametrize("part", ["database", "pictures"])
def test_what_does_not_answer_is_named_and_nothing_else(
    part: str, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def away(*args: object, **kwargs: object) -> None:
        raise OperationalError(SECRET) if part == "database" else OSError(28, SECRET)

    thing, deed = (connection, "cursor") if part == "database" else (FileSystemStorage, "save")
    monkeypatch.setattr(thing, deed, away)
    answer = asked("health-ready")
    assert answer.status_code == 503
    assert f"{part}: does not answer\n" in answer.content.decode()
    assert SECRET not in answer.content.decode() + caplog.text


@pytest.mark.django_db
def test_other_methods_are_refused() -> None:
    for name in ("health-live", "health-ready"):
        methods_are_refused(Client(), reverse(name), "post", "put", "delete", "patch")
        assert Client().head(reverse(name)).status_code == 200


def test_a_probe_from_inside_is_not_sent_to_the_certificate(settings: Any) -> None:
    settings.SECURE_SSL_REDIRECT, settings.SECURE_REDIRECT_EXEMPT = True, ["^healthz/"]
    assert Client().get("/healthz/live").status_code == 200
    assert Client().get("/sign-in/").status_code == 301


def test_its_own_migrations_are_those_on_disk() -> None:
    assert {("bible", "0001_initial"), ("guides", "0001_initial")} < health._ours()
