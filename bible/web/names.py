"""How people and numbers of things are called on pages, on paper and in sentences."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django.contrib.auth import get_user_model


def name_of(user: Any) -> str:
    """A person's name as colleagues read it: the full name where one was given, else the user name."""
    return str(user.get_full_name() or user.get_username())


def counted(number: int, thing: str, things: str = "") -> str:
    """“1 mark”, “23 marks”; ``things`` where more of it are not called by an s."""
    return f"{number:,} {thing if number == 1 else things or thing + 's'}"


def names_of(keys: Iterable[int]) -> dict[int, str]:
    """A name for each key that is somebody's."""
    users = get_user_model()._default_manager.filter(pk__in=list(keys))
    return {user.pk: name_of(user) for user in users}
