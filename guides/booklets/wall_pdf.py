"""Sheets to pin up beside the drawing table: a page a costume, the figure large, from each part a line to its patch.

Patches are DeviceCMYK with the codes' own percentages, as large as a brush can be held against. A part that is
marked nowhere on the picture has a patch without a line.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from io import BytesIO
from typing import IO

from reportlab.lib.colors import CMYKColor
from reportlab.lib.pagesizes import A3
from reportlab.lib.units import mm
from reportlab.lib.utils import ImageReader
from reportlab.platypus import Flowable, PageBreak

from bible.colour.gradients import ends_of
from guides.booklets.queries import Book, Code, ColourSheet, CostumeBlock, PartLine
from guides.core.crops import Crop, costume_crops, cut_crops
from guides.models import Mark
from guides.paper.fonts import fonts
from guides.paper.page import paged
from guides.paper.paragraphs import paragraph
from guides.paper.ruled import BLACK, RULE, width_of
from guides.paper.sizes import A4, SIZES
from guides.paper.tagging import Element, artifact, marked

PAPERS = SIZES | {"a3": A3}

PIXELS = 1_600
"""Long side of a figure: 150 pixels an inch and more on A3."""

A_PAGE = 20
"""Parts on a page, ten on each side: more would make the patches smaller than a brush."""

COLUMN, HEAD = 0.25, 0.1
"""Shares of the page: of its width for the patches on each side, of its height for the names above."""

HIGHEST = 50 * mm
"""Of a part's place in its column, on A4."""


@dataclass(frozen=True, slots=True)
class ShownCostume:
    """A costume's page: its figure as JPEG, and where on it each part is marked, as fractions from its top left."""

    sheet: ColourSheet
    block: CostumeBlock
    parts: tuple[PartLine, ...]
    crop: Crop | None
    figure: bytes | None
    places: Mapping[int, tuple[float, float]]


def pages_of(book: Book, sheet: ColourSheet) -> list[ShownCostume]:
    """The pages of one subject's costumes that have a code; a costume of very many parts has several."""
    costumes = list(sheet.subject.costumes.all())
    crops = costume_crops([costume.pk for costume in costumes], book.as_of.position)
    figures = dict(cut_crops(crops.values(), PIXELS))
    pages = []
    for costume, block in zip(costumes, sheet.costumes, strict=True):
        crop = crops.get(costume.pk)
        places = _places(crop, [part.pk for part in block.parts]) if crop else {}
        parts = [part for part in block.parts if part.codes]
        for first in range(0, len(parts), A_PAGE):
            some = tuple(parts[first : first + A_PAGE])
            pages.append(ShownCostume(sheet, block, some, crop, figures.get(crop) if crop else None, places))
    return pages


def _places(crop: Crop, parts: Sequence[int]) -> dict[int, tuple[float, float]]:
    """Where the parts are marked within a crop; of several marks of a part the first."""
    marks = Mark.objects.live().filter(guide=crop.guide, part__in=parts).order_by("-role", "-number")
    marks = marks.filter(x__range=(crop.left, crop.right), y__range=(crop.top, crop.bottom))
    wide, high = crop.right - crop.left, crop.bottom - crop.top
    return {
        part: ((x - crop.left) / wide, (y - crop.top) / high) for part, x, y in marks.values_list("part", "x", "y")
    }


def level_with(wished: Sequence[float], slot: float, upper: float) -> list[float]:
    """Upper edges of places one below the other between ``upper`` and 0, each as near to its wish as they allow.

    Wishes come from the top down; there is room for all of them.
    """
    tops: list[float] = []
    for wish in wished:
        tops.append(min(wish, tops[-1] - slot if tops else upper))
    for at in reversed(range(len(tops))):
        below = tops[at + 1] + slot if at + 1 < len(tops) else slot
        tops[at] = max(tops[at], below)
    return tops


class WallPage(Flowable):
    """One page: names above, the figure in the middle, patches down both sides."""

    def __init__(self, book: Book, shown: ShownCostume, size: tuple[float, float]) -> None:
        super().__init__()
        self.book, self.shown = book, shown
        self.width, self.height = size

    def wrap(self, *_: float) -> tuple[float, float]:
        return self.width, self.height

    def draw(self) -> None:
        self._names()
        left, bottom, wide, high = self._figure()
        places = {pk: (left + x * wide, bottom + (1 - y) * high) for pk, (x, y) in self.shown.places.items()}
        upper = self.height * (1 - HEAD)
        for side, parts in enumerate(self._sides()):
            slot = min(upper / max(len(parts), 1), HIGHEST * self.height / A4[1])
            wished = [places[part.pk][1] + slot / 2 if part.pk in places else 0.0 for part in parts]
            for part, top in zip(parts, level_with(wished, slot, upper), strict=True):
                self._part(part, side, top, slot, places.get(part.pk))

    def _names(self) -> None:
        large = self.height * 0.032
        words, block = self.shown.sheet.subject.name, self.shown.block
        size = min(large, large * self.width / width_of(words, large, bold=True))
        self._say(words, 0, self.height - large, size, kind="H1")
        caption = f"{block.name}, worn {block.worn} · {self.book.as_of}"
        self._say(caption, 0, self.height - large * 1.75, large * 0.5, bold=False)

    def _figure(self) -> tuple[float, float, float, float]:
        """Where it is drawn: left, bottom, width and height in points."""
        room = self.width * (1 - 2 * COLUMN) - 8 * mm, self.height * (1 - HEAD) - 6 * mm
        across, down = self.shown.crop.size if self.shown.crop else room
        scale = min(room[0] / across, room[1] / down)
        wide, high = across * scale, down * scale
        left, bottom = (self.width - wide) / 2, (self.height * (1 - HEAD) - high) / 2 + 3 * mm
        if self.shown.figure:
            shows = Element("Figure", f"{self.shown.sheet.subject.name} in {self.shown.block.name}")
            with marked(self.canv, shows):
                self.canv.drawImage(ImageReader(BytesIO(self.shown.figure)), left, bottom, wide, high)
            caption = f"{self.shown.crop.where if self.shown.crop else ''}: paint, not ink"
            self._say(caption, left, bottom - 10, 7.5, bold=False)
        return left, bottom, wide, high

    def _sides(self) -> tuple[list[PartLine], list[PartLine]]:
        """The parts on the left and on the right, each from the top down, as evenly as their places allow."""
        half = -(-len(self.shown.parts) // 2)
        by_x = sorted(self.shown.parts, key=lambda part: self.shown.places.get(part.pk, (0.5, 2.0))[0])
        sides = by_x[:half], by_x[half:]
        for side in sides:
            side.sort(key=lambda part: self.shown.places.get(part.pk, (0.5, 2.0))[1])
        return sides

    def _part(self, part: PartLine, side: int, top: float, slot: float, place: tuple[float, float] | None) -> None:
        column = self.width * COLUMN
        left = self.width - column if side else 0.0
        name, patch = slot * 0.17, slot * 0.42
        self._say(part.name, left, top - name, min(name * 0.85, 13))
        upper = top - name - slot * 0.05
        wide = column / len(part.codes)
        for at, code in enumerate(part.codes):
            self._patch(code, left + at * wide, upper - patch, (wide, patch), alone=len(part.codes) == 1)
        if place:
            with artifact(self.canv):
                self._line((left if side else left + column, upper - patch / 2), place)

    def _line(self, start: tuple[float, float], place: tuple[float, float]) -> None:
        for ink, breadth in ((CMYKColor(0, 0, 0, 0), 2.4), (BLACK, 0.7)):
            self.canv.setStrokeColor(ink)
            self.canv.setLineWidth(breadth)
            self.canv.line(*start, *place)
        self.canv.setFillColor(BLACK)
        self.canv.circle(*place, 1.6, stroke=0, fill=1)

    def _patch(self, code: Code, x: float, y: float, size: tuple[float, float], *, alone: bool) -> None:
        """The patch with its code below it; a gradient as its two ends, side by side."""
        with artifact(self.canv):
            self._ink(code, x, y, size)
        letters = size[1] * 0.48
        letters = min(letters, letters * (size[0] - 3) / width_of(code.written, letters, bold=True))
        self._say(code.written, x, y - letters * 1.05, letters)
        if not alone:
            role = max(7.0, size[1] * 0.22)
            self._say(code.role_name, x, y - letters * 1.05 - role * 1.1, role, bold=False)

    def _ink(self, code: Code, x: float, y: float, size: tuple[float, float]) -> None:
        tints = [tint for tint in ends_of(code.locked) if tint]
        for at, tint in enumerate(tints):
            cyan, magenta, yellow, key = (percent / 100 for percent in tint.percentages)
            self.canv.setFillColor(CMYKColor(cyan, magenta, yellow, key))
            self.canv.rect(x + at * size[0] / len(tints), y, size[0] / len(tints), size[1], stroke=0, fill=1)
        self.canv.setStrokeColor(RULE)
        self.canv.setLineWidth(0.4)
        self.canv.rect(x, y, *size, stroke=1, fill=0)

    def _say(self, words: str, x: float, y: float, size: float, *, bold: bool = True, kind: str = "P") -> None:
        self.canv.setFont(fonts()[bold], size)
        self.canv.setFillColor(BLACK)
        with marked(self.canv, Element(kind)):
            self.canv.drawString(x, y, words)


def write_wall_sheets(book: Book, paper: str, made_at: dt.datetime, out: IO[bytes]) -> None:
    """Write the pages of the book's subjects to a binary file; ``paper`` is one of ``PAPERS``."""
    names = ", ".join(sheet.subject.name for sheet in book.sheets)
    title = f"{book.series.title}: {names}, {book.as_of}"
    document = paged(out, title=title, series=book.series, press=book.press, made_at=made_at, size=PAPERS[paper])
    shown = [page for sheet in book.sheets for page in pages_of(book, sheet)]
    story: list[Flowable] = []
    for page in shown:
        story += [WallPage(book, page, document.room), PageBreak()]
    document.write(story or [paragraph(names, 18, bold=True), paragraph("Nothing is locked yet.", 11)])
