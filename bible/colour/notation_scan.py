"""Cutting the text of a code into its pieces, before anything is known about what they mean."""

from __future__ import annotations

import re
from dataclasses import dataclass

MAX_LENGTH = 80
"""The longest code there is, "C100 % M100 % Y100 % K100 %", has 27 signs; the rest is room for spaces."""

_FIGURE = re.compile(r"[0-9]+(?:[.,][0-9]+)?")


@dataclass(slots=True)
class Item:
    """One piece of a code: a letter with the figure and percent sign behind it, or something standing alone.

    ``letter`` is folded to upper case and empty for a stray figure or sign; ``figure`` is empty when there is
    none; ``start`` and ``end`` delimit the piece in the text.
    """

    letter: str
    figure: str
    start: int
    end: int
    signed: bool = False


def fold(sign: str) -> str:
    """``sign`` in upper case, when that is its own and not that of another letter (long s, dotless i)."""
    upper = sign.upper()
    return upper if len(upper) == 1 and upper.lower() == sign.lower() else sign


def scan(text: str) -> list[Item]:
    """The pieces of ``text`` from left to right; white space of any kind only separates. Linear in length."""
    items: list[Item] = []
    place = 0
    while place < len(text):
        sign = text[place]
        last = items[-1] if items else None
        if sign.isspace():
            place += 1
            continue
        if match := _FIGURE.match(text, place):
            if last is not None and last.letter and not last.figure:
                last.figure, last.end = match.group(), match.end()
            else:
                items.append(Item("", match.group(), place, match.end()))
            place = match.end()
            continue
        if sign == "%" and last is not None and last.figure and not last.signed:
            last.signed, last.end = True, place + 1
        elif sign.isalpha():
            items.append(Item(fold(sign), "", place, place + 1))
        else:
            items.append(Item("", "", place, place + 1))
        place += 1
    return items
