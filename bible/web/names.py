"""How people and numbers of things are called on pages, on paper and in sentences."""

from __future__ import annotations

from collections.abc import Iterable

from django.contrib.auth import get_user_model

from bible.models.naming import name_of

__all__ = ["counted", "name_of", "names_of"]


def counted(number: int, singular: str, plural: str = "") -> str:
    """“1 mark”, “23 marks”; ``plural`` where more of it are not called by an s."""
    return f"{number:,} {singular if number == 1 else plural or singular + 's'}"


def names_of(keys: Iterable[int]) -> dict[int, str]:
    """A name for each key that is somebody's."""
    users = get_user_model()._default_manager.filter(pk__in=list(keys))
    return {user.pk: name_of(user) for user in users}
