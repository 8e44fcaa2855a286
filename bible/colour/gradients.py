"""What may be locked: one tint, or a gradient from one tint to another, that way (trade: “grad”, “fade”).

A gradient is written as its two codes with an arrow or “to” between them and, maybe, where it runs: “B to W
downwards”, “YR > Y2, to the left”. Each code is read as any other (``notation``).
"""

from __future__ import annotations

import enum
import re
from collections.abc import Callable
from dataclasses import dataclass

from bible.colour.charts import Chart
from bible.colour.notation_errors import NotationError, Reason
from bible.colour.shifts import Shift
from bible.colour.tints import Tint

ARROWS = re.compile(r"\s*(?:-+>|=+>|>|→|⟶)\s*|\s+(?:fades\s+)?to\s+", re.IGNORECASE)
"""What people type or write between the two codes of a fade."""

RUNS = re.compile(r"[\s,;]+(?:to\s+the\s+)?(down|up|left|right)(?:wards?)?[\s.]*$", re.IGNORECASE)


class Direction(enum.StrEnum):
    """Where on the page a gradient runs to from its first tint."""

    DOWN = "down"
    UP = "up"
    LEFT = "left"
    RIGHT = "right"

    @property
    def words(self) -> str:
        """“downwards”."""
        return f"{self.value}wards"

    def is_against(self, start: tuple[float, float], end: tuple[float, float]) -> bool:
        """Whether an arrow, in fractions of the page from top left, points the other way; across is not against."""
        (x, y), (to_x, to_y) = start, end
        match self:
            case Direction.DOWN:
                return to_y < y
            case Direction.UP:
                return to_y > y
            case Direction.LEFT:
                return to_x > x
        return to_x < x


@dataclass(frozen=True, slots=True)
class Gradient:
    """A gradient: ``start`` and ``end`` in the direction in which it runs; None where nobody said which."""

    start: Tint
    end: Tint
    direction: Direction | None = None

    def between(self, steps: int) -> list[Tint]:
        """Tints at the middle of even steps along it, to the nearest whole percentage."""
        pairs = list(zip(self.start.percentages, self.end.percentages, strict=True))
        shares = [(2 * step + 1) / (2 * steps) for step in range(steps)]
        return [Tint(*(round(a + (b - a) * share) for a, b in pairs)) for share in shares]

    def __str__(self) -> str:
        return f"{self.start} to {self.end}{f', {self.direction.words}' if self.direction else ''}"

    def seen_along(self, start: tuple[float, float], end: tuple[float, float]) -> tuple[Tint, Tint]:
        """The two tints in the order in which an arrow meets them: one that points against the gradient begins at
        its end."""
        if self.direction and self.direction.is_against(start, end):
            return self.end, self.start
        return self.start, self.end


TintOrGradient = Tint | Gradient


def split_code(written: str) -> tuple[str, str]:
    """“YR > Y2” as its two codes; the second is empty where there is not one arrow with a code behind it."""
    codes = ARROWS.split(written.strip())
    if len(codes) == 2 and all(codes):
        return codes[0], codes[1]
    return written, ""


def read_tint_or_gradient(text: str, read: Callable[[str], Tint]) -> TintOrGradient:
    """What a text says that may be a gradient; ``read`` makes a tint of one code.

    Raises:
        NotationError: one of its codes has no reading or is missing, or both are the same.
    """
    runs = RUNS.search(text)
    start, end = split_code(text[: runs.start()] if runs else text)
    if not end and not all(ARROWS.split(f" {start.strip()} ")):  # an arrow with a code on one side of it only
        message = "A gradient has two codes: write both, with “to” between them"
        raise NotationError(message, text=text, position=0, token=text, reason=Reason.MIXED)
    if not end:
        return read(text)
    first, last = read(start), read(end)
    if first == last:
        message = "A gradient has two tints, and these are the same: write the code once"
        raise NotationError(message, text=text, position=0, token=text, reason=Reason.MIXED)
    return Gradient(first, last, Direction(runs.group(1).lower()) if runs else None)


def write_tint_or_gradient(value: TintOrGradient, write: Callable[[Tint], str]) -> str:
    """The canonical text, which ``read_tint_or_gradient`` reads back as the same: “B to W downwards”."""
    if isinstance(value, Tint):
        return write(value)
    runs = f" {value.direction.words}" if value.direction else ""
    return f"{write(value.start)} to {write(value.end)}{runs}"


def ends_of(value: TintOrGradient) -> tuple[Tint, Tint | None]:
    """Its first tint, and the second where it is a gradient."""
    return (value, None) if isinstance(value, Tint) else (value.start, value.end)


def shifted(value: TintOrGradient, rule: Shift, chart: Chart) -> TintOrGradient:
    """Where a rule takes it: both ends of a gradient move, and it runs as before."""
    if isinstance(value, Tint):
        return rule.apply(value, chart)
    return Gradient(rule.apply(value.start, chart), rule.apply(value.end, chart), value.direction)
