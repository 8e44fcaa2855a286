"""The tint: what prints, as whole percentages of cyan, magenta, yellow and key."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

INKS = ("c", "m", "y", "k")
"""The process inks in the order every array and every packed integer of this project uses."""

INK_NAMES = {"c": "cyan", "m": "magenta", "y": "yellow", "k": "key"}


@dataclass(frozen=True, slots=True, order=True)
class Tint:
    """Percentages of dot coverage, each a whole number from 0 (bare paper) to 100 (solid).

    Raises:
        ValueError: a percentage is out of range.
        TypeError: a percentage is not an integer.
    """

    c: int = 0
    m: int = 0
    y: int = 0
    k: int = 0

    def __post_init__(self) -> None:
        for ink in INKS:
            percent = getattr(self, ink)
            if isinstance(percent, bool) or not isinstance(percent, int):
                raise TypeError(f"{INK_NAMES[ink]} must be a whole percentage, not {percent!r}")
            if not 0 <= percent <= 100:
                raise ValueError(f"{INK_NAMES[ink]} must be between 0 and 100 %, not {percent}")

    @property
    def percentages(self) -> tuple[int, int, int, int]:
        """The four percentages in the order of ``INKS``."""
        return (self.c, self.m, self.y, self.k)

    @property
    def total_ink(self) -> int:
        """Sum of the percentages, 0-400 (printers call it total area coverage)."""
        return self.c + self.m + self.y + self.k

    @property
    def is_paper(self) -> bool:
        return self.total_ink == 0

    @property
    def packed(self) -> int:
        """The tint as one non-negative integer below 2**31, a byte an ink, so SQL compares with ``=``."""
        return self.c << 24 | self.m << 16 | self.y << 8 | self.k

    @classmethod
    def from_packed(cls, value: int) -> Tint:
        """The inverse of ``packed``; ValueError for an integer that no tint packs to."""
        if value < 0:
            raise ValueError(f"{value} is not a packed tint")
        return cls(value >> 24, value >> 16 & 0xFF, value >> 8 & 0xFF, value & 0xFF)

    def __str__(self) -> str:
        if self.is_paper:
            return "paper"
        return " ".join(f"{ink.upper()}{getattr(self, ink)}" for ink in INKS if getattr(self, ink))


PAPER = Tint()


def as_array(tints: Iterable[Tint]) -> npt.NDArray[np.float64]:
    """Tints as an array of shape (n, 4) in the order of ``INKS``, percentages 0-100."""
    return np.array([tint.percentages for tint in tints], dtype=np.float64).reshape(-1, 4)
