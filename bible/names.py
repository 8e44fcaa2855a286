"""How people are called on pages, on paper and in sentences."""

from __future__ import annotations

from typing import Any


def name_of(user: Any) -> str:
    """A person's name as colleagues read it: the full name where one was given, else the user name."""
    return str(user.get_full_name() or user.get_username())
