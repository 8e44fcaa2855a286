"""What is built once and stands under many tests: rows in a transaction that is never committed, and their files."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from http.cookies import SimpleCookie
from pathlib import Path
from typing import Any, TypeVar

from django.contrib.auth.models import User
from django.db import transaction
from django.test import Client, override_settings

from tests.pages import client_of

QUICK_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
Made = TypeVar("Made")


@contextmanager
def undone() -> Iterator[None]:
    """What is written inside is taken back at the end, whatever came of it."""
    with transaction.atomic():
        try:
            yield
        finally:
            transaction.set_rollback(True)


def built_once(build: Callable[[], Made], blocker: Any, folder: Path) -> Iterator[Made]:
    """For a fixture of a module or a session to yield from: what ``build`` makes, its files in ``folder``.

    Each test that asks for the database then works in a savepoint of its own inside this transaction, so none sees what
    another did. Only for modules without transactional tests: those would empty the database underneath.
    """
    with blocker.unblock(), undone():
        with override_settings(MEDIA_ROOT=folder, PASSWORD_HASHERS=QUICK_HASHERS):
            made = build()
        with blocker.block():
            yield made


def own_files(folder: Path, media: Path) -> None:
    """Give a test the files that were built: hard links, so that what it removes or replaces is its own matter."""
    shutil.copytree(folder, media, copy_function=os.link, dirs_exist_ok=True)


class Visitor:
    """Somebody who asks many things, each as if they had only just signed in; nobody without a user."""

    def __init__(self, user: User | None) -> None:
        self.client = client_of(user) if user else Client()
        self.client.raise_request_exception = False
        self._signed_in = {name: kept.value for name, kept in self.client.cookies.items()}

    def ask(self, method: str, path: str, *said: Any, **more: Any) -> Any:
        """One request, undone again with the cookies it brought."""
        self.client.cookies = SimpleCookie(self._signed_in)
        with undone():
            return getattr(self.client, method)(path, *said, **more)
