"""The arrow of a gradient as every output draws it."""

from __future__ import annotations

import math

Point = tuple[float, float]

SPREAD = math.radians(28)
"""Half the opening of an arrow's head: pointed enough to show the way, open enough to be seen."""


def arrow_head(start: Point, end: Point, length: float) -> tuple[Point, Point]:
    """The two barbs of an arrow from ``start`` to ``end``, in the same units as both."""
    back = math.atan2(start[1] - end[1], start[0] - end[0])
    left, right = (
        (end[0] + length * math.cos(back + turn), end[1] + length * math.sin(back + turn))
        for turn in (SPREAD, -SPREAD)
    )
    return left, right
