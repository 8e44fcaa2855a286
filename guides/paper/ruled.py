"""Tables for paper: rows with a line below each, swatches in ink, the first row again on every page.

ReportLab's own tables take a booklet of hundreds of sheets past any patience: they style every cell for itself. Here
a row is set with the codes, words and swatches that stand on every sheet written as PDF operators once.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from functools import lru_cache
from itertools import accumulate
from operator import sub
from typing import Any, Self
from weakref import WeakKeyDictionary

from reportlab.lib.colors import CMYKColor
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.platypus import Flowable

from bible.colour.tints import Tint
from guides.paper.fonts import fonts
from guides.paper.tagging import Element, Spoken, artifact, tags_of

BLACK = CMYKColor(0, 0, 0, 1)
RULE = CMYKColor(0, 0, 0, 0.35)
"""Text and rules are key only, so that no other plate carries any of them."""

SWATCH = (11 * mm, 5 * mm)

SIZE, HEAD_SIZE = 9, 7.5
"""Points of words in rows, and in the first row."""

LEADING = 1.2
SLACK = 1e-6
"""Points by which sums of heights may be off: a table that just fits is not broken for it."""
ABOVE, BEHIND = 1.5, 6.0
"""Points left free above and below a row, and behind a cell's paragraphs."""

Cell = str | Flowable | list[Flowable]

_WRITTEN: WeakKeyDictionary[Any, dict[tuple[str, float, str], str]] = WeakKeyDictionary()
"""Operators of words by canvas: a canvas numbers the letters of its fonts for itself."""


_RULE = " ".join(f"{share:g}" for share in RULE.cmyk())
_BLACK_TEXT = f"q {' '.join(f'{share:g}' for share in BLACK.cmyk())} k"


@lru_cache(maxsize=4096)
def width_of(words: str, size: float = SIZE, *, bold: bool = False) -> float:
    """Points that the words take on one line."""
    return pdfmetrics.stringWidth(words, fonts()[bold], size)


@lru_cache(maxsize=1024)
def swatch_operators(tints: tuple[Tint, ...]) -> str:
    """A swatch with its lower left corner at the origin (ISO 32000-1, 8.5 and 8.6.8): its tints side by side.

    Without a tint it is an empty box, struck through.
    """
    width, height = SWATCH
    wide = width / max(len(tints), 1)
    steps = []
    for at, tint in enumerate(tints):
        ink = " ".join(f"{percent / 100:g}" for percent in tint.percentages)
        steps.append(f"{ink} k {at * wide:.3f} 0 {wide:.3f} {height:.3f} re f")
    struck = "" if tints else f" 0 0 m {width:.3f} {height:.3f} l S"
    return f"{' '.join(steps)} {_RULE} K .4 w 0 0 {width:.3f} {height:.3f} re S{struck}"


class PaperSwatch(Flowable):
    """A tint as ink; a fade as its two ends, the second one behind the arrow's point."""

    def __init__(self, tint: Tint | None, to_tint: Tint | None = None) -> None:
        super().__init__()
        self.tints = tuple(given for given in (tint, to_tint) if given)
        self.width, self.height = SWATCH

    def wrap(self, *_: float) -> tuple[float, float]:
        return self.width, self.height

    def draw(self) -> None:
        with artifact(self.canv):  # its code stands beside it
            self.canv.addLiteral(f"q {swatch_operators(self.tints)} Q")


class RuledTable(Flowable):
    """Rows of cells: words on one line, a swatch, or paragraphs and pictures, each in the middle of its row's height.

    The first row is the head: small, and set again where the table goes on. ``bold`` are the columns whose words are.
    """

    hAlign = "LEFT"

    def __init__(self, rows: Sequence[Sequence[Cell]], widths: Sequence[float], bold: Collection[int] = (0,)) -> None:
        super().__init__()
        self.rows, self.widths, self.bold = rows, widths, bold
        self.heights: list[float] = []
        self.width = sum(widths)
        self.element, self.goes_on = Element("Table"), False

    def wrap(self, *_: float) -> tuple[float, float]:
        if not self.heights:
            self.heights = [self._row_height(row, SIZE if at else HEAD_SIZE) for at, row in enumerate(self.rows)]
        self.height = sum(self.heights)
        return self.width, self.height

    def _row_height(self, row: Sequence[Cell], size: float) -> float:
        highest = size * LEADING
        for cell, width in zip(row, self.widths, strict=True):
            if isinstance(cell, PaperSwatch):
                highest = max(highest, SWATCH[1])
            elif not isinstance(cell, str):
                highest = max(highest, self._stacked(cell, width))
        return highest + 2 * ABOVE

    def _stacked(self, cell: Flowable | list[Flowable], width: float) -> float:
        """Height of flowables below one another."""
        pile = cell if isinstance(cell, list) else [cell]
        return float(sum(flowable.wrapOn(self.canv, width - BEHIND, 0)[1] for flowable in pile))

    def split(self, width: float, height: float) -> list[Flowable]:
        """As many rows as there is room for, and the rest under the head once more; nothing where not one fits."""
        self.wrap(width, height)
        left, fitting = height - self.heights[0], 1
        while fitting < len(self.rows) and self.heights[fitting] <= left + SLACK:
            left -= self.heights[fitting]
            fitting += 1
        if fitting == 1:
            return []
        if fitting == len(self.rows):
            return [self]
        first, rest = self._of(range(fitting)), self._of([0, *range(fitting, len(self.rows))])
        first.goes_on, rest.goes_on = self.goes_on, True
        return [first, rest]

    def _of(self, chosen: Sequence[int]) -> Self:
        part = type(self)([self.rows[at] for at in chosen], self.widths, self.bold)
        part.heights = [self.heights[at] for at in chosen]
        part.element = self.element
        return part

    def draw(self) -> None:
        """Cell by cell, in the order in which a reader's program is to read them aloud. Where the table goes on, its
        head is said no second time."""
        edges = list(accumulate(self.heights, sub, initial=self.height))[1:]
        rules = " ".join(f"0 {y:.2f} m {self.width:.2f} {y:.2f} l" for y in edges)
        with artifact(self.canv):
            self.canv.addLiteral(f"q {_RULE} K .3 w {rules} S Q")
        spoken = Spoken(tags_of(self.canv), self.canv.getPageNumber(), self.element)
        waiting = [_BLACK_TEXT]
        for number, (row, y, height) in enumerate(zip(self.rows, edges, self.heights, strict=True)):
            spoken.row(head=not number, again=self.goes_on)
            size = SIZE if number else HEAD_SIZE
            base = y + (height - size * LEADING) / 2 + size * (LEADING - 1)
            x = 0.0
            for column, (cell, width) in enumerate(zip(row, self.widths, strict=True)):
                begin, end = spoken.cell(words=isinstance(cell, str) and bool(cell))
                if isinstance(cell, PaperSwatch):
                    middle = y + (height - SWATCH[1]) / 2
                    waiting.append(f"{begin}q 1 0 0 1 {x:.2f} {middle:.2f} cm {swatch_operators(cell.tints)} Q{end}")
                elif not isinstance(cell, str):
                    self.canv.addLiteral(f"{' '.join(waiting)} Q")
                    waiting = [_BLACK_TEXT]
                    with spoken.pile(self.canv):
                        self._draw_pile(cell, x, y + height / 2, width)
                elif cell:
                    words = self._words(cell, size, bold=bool(number) and column in self.bold)
                    waiting.append(f"{begin}q 1 0 0 1 {x:.2f} {base:.2f} cm {words} Q{end}")
                x += width
        self.canv.addLiteral(f"{' '.join(waiting)} Q")

    def _draw_pile(self, cell: Flowable | list[Flowable], x: float, middle: float, width: float) -> None:
        top = middle + self._stacked(cell, width) / 2
        for flowable in cell if isinstance(cell, list) else [cell]:
            top -= flowable.wrapOn(self.canv, width - BEHIND, 0)[1]
            flowable.drawOn(self.canv, x, top)

    def _words(self, words: str, size: float, *, bold: bool) -> str:
        """Operators that set the words on one line from the origin on."""
        known = _WRITTEN.setdefault(self.canv, {})
        key = (fonts()[bold], size, words)
        if key not in known:
            text = self.canv.beginText(0, 0)
            text.setFont(key[0], size)
            text.textOut(words)
            known[key] = text.getCode()
        return known[key]
