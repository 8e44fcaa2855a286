"""A mark's two codes taken together: what it says, and what is expected of it."""

from __future__ import annotations

from bible.colour.gradients import Gradient, TintOrGradient
from bible.colour.tints import Tint
from bible.models.fields import NoTint


class BothCodes:
    """Of a mark, whose columns these are."""

    written: str
    to_written: str
    tint: Tint | NoTint
    to_tint: Tint | NoTint | None
    expected: Tint | NoTint
    expected_to: Tint | NoTint
    to_x: float | None
    to_y: float | None

    @property
    def is_gradient(self) -> bool:
        return bool(self.to_written)

    @property
    def both_written(self) -> str:
        """The code as written, both of a gradient with an arrow between them."""
        return f"{self.written} > {self.to_written}" if self.to_written else self.written

    @property
    def arrow_end(self) -> tuple[float, float] | None:
        """Where a gradient's arrow points, in fractions of the page."""
        return None if self.to_x is None or self.to_y is None else (self.to_x, self.to_y)

    @property
    def says(self) -> TintOrGradient | NoTint:
        """What it says, whole; as its first code where the second cannot be read."""
        return whole(self.tint, self.to_tint)

    @property
    def expectation(self) -> TintOrGradient | NoTint:
        """What is expected of it, whole; a gradient in the order in which the mark's arrow meets it."""
        return whole(self.expected, self.expected_to)


def whole(start: Tint | NoTint, end: Tint | NoTint | None) -> TintOrGradient | NoTint:
    """A gradient where there are two tints, else the first of them."""
    return Gradient(start, end) if isinstance(start, Tint) and isinstance(end, Tint) else start
