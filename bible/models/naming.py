"""How a person is called: tables say it too, so it stands beneath every room."""

from __future__ import annotations

from typing import Any


def name_of(user: Any) -> str:
    """A person's name as colleagues read it: the full name where one was given, else the user name."""
    return str(user.get_full_name() or user.get_username())
