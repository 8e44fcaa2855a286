"""A tint that stands in columns of its own, one an ink: 25, “25 %”, 0.25 or 0,25. No Django in here."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from guides.imports.texts import alike, says_nothing

INK_FIELDS = ("cyan", "magenta", "yellow", "key")
_NUMBER = re.compile(r"(\d{1,3})(?:[.,](\d+))?\s*(%?)")


@dataclass(frozen=True, slots=True)
class InkScale:
    """Whether figures without a percent sign are shares of 1; one answer for all rows of a table."""

    shares: bool

    @classmethod
    def of(cls, cells: Iterable[str]) -> InkScale:
        """Shares where no figure is above 1 and one at least lies between 0 and 1, or none is anything but 0 and 1:
        nobody prints a screen of 1 %."""
        bare = [figure for cell in cells if (figure := _value(cell)) is not None and not figure[1]]
        return cls(bool(bare) and max(value for value, _ in bare) <= 1)

    def percent(self, cell: str) -> int | str:
        """A whole percentage from 0 to 100, or why there is none; an empty cell is 0."""
        if not cell or says_nothing(cell):
            return 0
        figure = _value(cell)
        if figure is None:
            return f"“{cell[:20]}” is no percentage."
        value, signed = figure
        percent = value * 100 if self.shares and not signed else value
        if abs(percent - round(percent)) > 1e-9:
            return f"“{cell}” is no whole percentage."
        return round(percent) if 0 <= percent <= 100 else f"“{cell}” is above 100 %."


def _value(cell: str) -> tuple[float, bool] | None:
    match = _NUMBER.fullmatch(alike(cell))
    if match is None:
        return None
    whole, part, sign = match.groups()
    return float(f"{whole}.{part or 0}"), bool(sign)


def ink_code(values: Mapping[str, str], scale: InkScale) -> tuple[str, str]:
    """The code in percentages that a row's columns say, and why there is none; both empty where they are blank."""
    if not any(values.get(name) and not says_nothing(values[name]) for name in INK_FIELDS):
        return "", ""
    pieces = []
    for name, letter in zip(INK_FIELDS, "CMYK", strict=True):
        percent = scale.percent(values.get(name, ""))
        if isinstance(percent, str):
            return "", percent
        pieces.append(f"{letter}{percent}%")
    return " ".join(pieces), ""
