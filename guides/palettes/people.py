"""Names of colourists by their keys."""

from __future__ import annotations

from collections.abc import Iterable

from django.contrib.auth import get_user_model

from bible.names import name_of


def names_of(keys: Iterable[int]) -> dict[int, str]:
    """A name for each key that is somebody's."""
    users = get_user_model()._default_manager.filter(pk__in=list(keys))
    return {user.pk: name_of(user) for user in users}
