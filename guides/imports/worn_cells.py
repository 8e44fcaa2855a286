"""When a costume is worn, in one cell of a table: “1 - 18; 43; 60 -”, as the bible's own table says it."""

from __future__ import annotations

from collections.abc import Mapping

from bible.models import Issue
from bible.models.stretches import Stretch
from bible.series.refusals import Refused
from bible.series.running_order import BETWEEN_STRETCHES, RunningOrder
from bible.subjects.wearing import ALWAYS, tidy

DASHES = "-–—"


def read_worn(cell: str, issues: Mapping[str, Issue], order: RunningOrder) -> tuple[Stretch, ...]:
    """The stretches that a cell says; ``ALWAYS`` where it is empty.

    Args:
        issues: by their numbers in small letters.

    Raises:
        Refused: an issue is not known, or the stretches overlap.
    """
    pieces = [piece.strip() for piece in cell.split(BETWEEN_STRETCHES.strip()) if piece.strip()]
    return tidy(_stretch(piece, issues, order) for piece in pieces) if pieces else ALWAYS


def _stretch(piece: str, issues: Mapping[str, Issue], order: RunningOrder) -> Stretch:
    """One issue or a run of them; a number may hold a dash itself, so every dash is tried."""
    ends = [(piece, piece)]
    ends += [(piece[:at].strip(), piece[at + 1 :].strip()) for at, sign in enumerate(piece) if sign in DASHES]
    for first, last in ends:
        known = all(not end or end.casefold() in issues for end in (first, last))
        if known and (first or last):
            begins = issues[first.casefold()].position if first else 0
            return Stretch(begins, order.position_after(issues[last.casefold()]) if last else None)
    raise Refused(f"“{piece}” names no issues of this series, as in 1 - 18; 43; 60 -.")
