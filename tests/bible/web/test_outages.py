"""A full disk, a database that is away or busy: told as that, with when to try again, and nothing half-written."""

from __future__ import annotations

import errno
import sqlite3
from typing import Any

import psycopg
import pytest
from django.contrib.sessions.backends.db import SessionStore
from django.db import InterfaceError, OperationalError, connection
from django.test import Client
from django.urls import reverse

from bible.models import Series
from bible.web.outages import AWAY, BUSY, FULL, Outage, outage_of
from guides.core import counts
from guides.models import Mark
from tests.factories import make_guide, make_issue, make_user

NEW_MARK = {"x": "0.5", "y": "0.5", "written": "YR", "part": "", "role": "base", "key": "0" * 36}


def wrapped(driver: Exception) -> OperationalError:
    error = OperationalError(str(driver))
    error.__cause__ = driver
    return error


def of_sqlite(name: str) -> sqlite3.OperationalError:
    error = sqlite3.OperationalError("so")
    error.sqlite_errorname = name
    return error


ERRORS: list[tuple[BaseException | None, Outage | None]] = [
    (OSError(errno.ENOSPC, "No space left on device"), FULL),
    (OSError(errno.EDQUOT, "Disk quota exceeded"), FULL),
    (FileNotFoundError(errno.ENOENT, "no such file"), None),
    (wrapped(of_sqlite("SQLITE_FULL")), FULL),
    (wrapped(of_sqlite("SQLITE_BUSY_SNAPSHOT")), BUSY),
    (wrapped(of_sqlite("SQLITE_IOERR_WRITE")), AWAY),
    (wrapped(of_sqlite("SQLITE_ERROR")), None),
    (wrapped(psycopg.errors.DiskFull("so")), FULL),
    (wrapped(psycopg.errors.DeadlockDetected("so")), BUSY),
    (wrapped(psycopg.errors.AdminShutdown("so")), AWAY),
    (wrapped(psycopg.errors.TooManyConnections("so")), BUSY),
    (wrapped(psycopg.OperationalError("connection refused")), AWAY),
    (wrapped(psycopg.errors.UndefinedTable("so")), None),
    (InterfaceError("connection already closed"), AWAY),
    (ValueError("a fault of ours"), None),
    (None, None),
]


@pytest.mark.parametrize(("error", "trouble"), ERRORS, ids=lambda one: repr(one)[:40])
def test_errors_of_the_machine_are_told_from_ours(error: BaseException | None, trouble: Outage | None) -> None:
    """SQLSTATEs are psycopg's own, names of codes sqlite.org's."""
    assert outage_of(error) == trouble


def quiet(user: Any) -> Client:
    client = Client(raise_request_exception=False)
    client.force_login(user)
    return client


@pytest.mark.django_db
@pytest.mark.parametrize("error", [wrapped(of_sqlite("SQLITE_FULL")), wrapped(psycopg.errors.DiskFull("so"))])
def test_a_full_disk_is_said_where_a_mark_is_saved(
    series: Series, fill_in: Any, error: Exception, monkeypatch: pytest.MonkeyPatch
) -> None:
    guide = make_guide(make_issue(series))

    def full(*args: Any, **kwargs: Any) -> None:
        raise error

    client = quiet(fill_in)
    monkeypatch.setattr(counts, "placed", full)  # when its row is written already
    answer = client.post(reverse("new-mark", args=[series.slug, guide.pk]), NEW_MARK)
    assert (answer.status_code, answer["Retry-After"]) == (507, "300")
    assert "disk is full" in answer.content.decode()
    assert not Mark.objects.exists()
    told = client.post(
        reverse("new-mark", args=[series.slug, guide.pk]), NEW_MARK, headers={"Accept": "application/json"}
    )
    assert (told.status_code, told.json()["state"], told.json()["wait"]) == (507, "busy", 300)


@pytest.mark.django_db
def test_signing_in_on_a_full_disk_is_no_fault_of_the_persons(monkeypatch: pytest.MonkeyPatch) -> None:
    make_user(username="nell").set_password("nine-quiet-herons")
    person = make_user(username="ada")
    person.set_password("nine-quiet-herons")
    person.save()

    def full(*args: Any, **kwargs: Any) -> None:
        raise wrapped(of_sqlite("SQLITE_FULL"))

    monkeypatch.setattr(SessionStore, "save", full)
    client = Client(raise_request_exception=False)
    answer = client.post(reverse("login"), {"username": "ada", "password": "nine-quiet-herons"})
    assert (answer.status_code, answer["Retry-After"]) == (507, "300")


@pytest.mark.django_db
def test_a_database_that_is_away_is_503_and_comes_back(
    series: Series, fill_in: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    client = quiet(fill_in)

    def away(*args: Any, **kwargs: Any) -> None:
        raise wrapped(psycopg.OperationalError("connection refused"))

    with monkeypatch.context() as gone:
        gone.setattr(connection, "cursor", away)
        answer = client.get(reverse("series", args=[series.slug]))
        assert (answer.status_code, answer["Retry-After"]) == (503, "10")
        assert "database does not answer" in answer.content.decode()
    assert client.get(reverse("series", args=[series.slug])).status_code == 200


@pytest.mark.backend("sqlite")
@pytest.mark.django_db(transaction=True)
def test_sqlite_busy_beyond_its_wait_is_503_and_the_next_try_is_taken(
    series: Series, fill_in: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Another connection really holds the file; nothing is patched but the patience."""
    guide = make_guide(make_issue(series))
    client = quiet(fill_in)
    address = reverse("new-mark", args=[series.slug, guide.pk])
    connection.ensure_connection()
    connection.connection.execute("PRAGMA busy_timeout = 100")
    other = sqlite3.connect(str(connection.settings_dict["NAME"]))
    try:
        other.execute("BEGIN IMMEDIATE")
        answer = client.post(address, NEW_MARK)
        assert (answer.status_code, answer["Retry-After"]) == (503, "2")
        assert "busy with what others save" in answer.content.decode()
    finally:
        other.rollback()
        other.close()
    assert not Mark.objects.exists()
    assert client.post(address, NEW_MARK).status_code in (200, 302)
    assert Mark.objects.count() == 1
