"""Whole numbers that come in with an address or a form: keys of rows, figures of a count."""

from __future__ import annotations

LARGEST_KEY = 2**63 - 1
"""What a key's column holds in both databases; a larger one is a fault there instead of no row."""


def whole_number(text: str | None, most: int = LARGEST_KEY) -> int | None:
    """The number from 0 to ``most`` that a text says in plain figures; None for any other text.

    Plain figures are 0 to 9: Python's ``int`` and ``isdigit`` know others ("²" is a digit to one of them alone).
    """
    if not text or not text.isascii() or not text.isdecimal():
        return None
    # Compared by length first: Python refuses to turn thousands of figures into a number.
    figures = text.lstrip("0") or "0"
    if len(figures) > len(str(most)):
        return None
    number = int(figures)
    return number if number <= most else None
