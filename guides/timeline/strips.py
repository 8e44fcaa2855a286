"""When a costume is worn, as a strip along the issues of a timeline: painted with the mouse, tapped, set by keys."""

from __future__ import annotations

from dataclasses import dataclass

from bible.models import Costume
from bible.models.stretches import Stretch
from bible.series.running_order import RunningOrder
from guides.timeline.queries import Tick, column_width, ticks_of

LATER = "later"
"""The cell behind the last issue: whether it is worn onwards."""


@dataclass(frozen=True, slots=True)
class Cell:
    """An issue on the strip, or ``LATER``. In pixels of the picture."""

    number: str
    x: float
    worn: bool

    @property
    def label(self) -> str:
        return "issues to come" if self.number == LATER else f"issue {self.number}"


@dataclass(frozen=True, slots=True)
class Strip:
    """A costume's strip. ``words``: the same said plainly."""

    costume: Costume
    cells: tuple[Cell, ...]
    column: float
    words: str
    ticks: tuple[Tick, ...]

    @property
    def width(self) -> float:
        return len(self.cells) * self.column

    @property
    def inner(self) -> float:
        """A cell without the gap to the next one."""
        return self.column - (2.0 if self.column > 8 else 0.5)


def strip_of(costume: Costume, order: RunningOrder, worn: tuple[Stretch, ...] | None = None) -> Strip:
    """``worn``: to be drawn instead of what is stored."""
    stretches = costume.worn if worn is None else worn
    column = column_width(len(order.issues))

    def is_worn(position: int) -> bool:
        return not stretches or any(stretch.holds_at(position) for stretch in stretches)

    cells = [Cell(issue.number, at * column, is_worn(issue.position)) for at, issue in enumerate(order.issues)]
    onwards = not stretches or stretches[-1].to_position is None
    cells.append(Cell(LATER, len(cells) * column, onwards))
    return Strip(costume, tuple(cells), column, order.spans(stretches) or "always", ticks_of(order, column))
