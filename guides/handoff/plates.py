"""The plate list: for each ink and strength, which marks belong on that plate."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from bible.colour.tints import INK_NAMES, INKS, Tint
from guides.core.labels import PLATE_ORDER, percentage, runs


@dataclass(frozen=True, slots=True)
class Marked:
    """What the plates want to know of one mark: its number and tint, and the tint its arrow points to, if any."""

    number: int
    tint: Tint | None
    to_tint: Tint | None = None


@dataclass(frozen=True, slots=True)
class Plate:
    """One ink at one strength, or fading from one to another, with its marks.

    Attributes:
        ink: one of ``INKS``.
        start: percentage, at the beginning of the arrow where it is a fade.
        end: percentage at the arrow's point; the same as ``start`` where it is flat.
        numbers: the marks, ascending.
    """

    ink: str
    start: int
    end: int
    numbers: tuple[int, ...]

    @property
    def is_fade(self) -> bool:
        return self.start != self.end

    @property
    def ink_name(self) -> str:
        return INK_NAMES[self.ink]

    @property
    def start_tint(self) -> Tint:
        """The ink alone, for a swatch of the film."""
        return Tint(**{self.ink: self.start or self.end})

    @property
    def marks(self) -> str:
        return runs(self.numbers)

    @property
    def strength(self) -> str:
        """“solid”, “50 %”, “solid to 25 %”."""
        return f"{percentage(self.start)} to {percentage(self.end)}" if self.is_fade else percentage(self.start)


@dataclass(frozen=True, slots=True)
class PlateList:
    """The plates of a page, and the marks that stand on none: bare paper, and codes that cannot be read."""

    plates: tuple[Plate, ...]
    paper: tuple[int, ...]
    unread: tuple[int, ...]

    @property
    def paper_marks(self) -> str:
        return runs(self.paper)

    @property
    def unread_marks(self) -> str:
        return runs(self.unread)


def plate_list(marks: Iterable[Marked]) -> PlateList:
    """Sort marks on their plates: strongest first within an ink, fades behind the flat strengths.

    A mark whose code, or whose second code, cannot be read is on no plate: half a fade would be a guess.
    """
    by_plate: dict[tuple[str, int, int], list[int]] = defaultdict(list)
    paper, unread = [], []
    for mark in marks:
        if mark.tint is None:
            unread.append(mark.number)
            continue
        to_tint = mark.to_tint or mark.tint
        if mark.tint.is_paper and to_tint.is_paper:
            paper.append(mark.number)
        for ink in INKS:
            start, end = getattr(mark.tint, ink), getattr(to_tint, ink)
            if start or end:
                by_plate[ink, start, end].append(mark.number)
    keys = sorted(by_plate, key=lambda key: (PLATE_ORDER.index(key[0]), key[1] != key[2], -key[1], -key[2]))
    plates = tuple(Plate(*key, tuple(sorted(by_plate[key]))) for key in keys)
    return PlateList(plates, tuple(sorted(paper)), tuple(sorted(unread)))
