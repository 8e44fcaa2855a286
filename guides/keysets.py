"""Where a page of a list goes on, as an address carries it: whole numbers with hyphens between them."""

from __future__ import annotations

from collections.abc import Iterable

LONGEST = 18
"""Figures of one number: what fits into the 64 bits of a database's integer."""


def write_keyset(numbers: Iterable[int]) -> str:
    return "-".join(map(str, numbers))


def read_keyset(text: str, length: int) -> tuple[int, ...] | None:
    """The inverse; None for anything that no page ever gave."""
    parts = text.split("-")
    if len(parts) != length or not all(part.isascii() and part.isdigit() and len(part) <= LONGEST for part in parts):
        return None
    return tuple(map(int, parts))
