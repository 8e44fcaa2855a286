"""How people and numbers of things are called on pages, on paper and in sentences."""

from __future__ import annotations

from typing import Any


def name_of(user: Any) -> str:
    """A person's name as colleagues read it: the full name where one was given, else the user name."""
    return str(user.get_full_name() or user.get_username())


def counted(number: int, thing: str, things: str = "") -> str:
    """“1 mark”, “23 marks”; ``things`` where more of it are not called by an s."""
    return f"{number:,} {thing if number == 1 else things or thing + 's'}"
