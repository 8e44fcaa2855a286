"""A sheet to print: which tints, where each lies, and the marks by which a scan of it is found.

Our own arrangement. The chart's tints stand in the chart's order; behind them the ramps of each ink, the solids and
their overprints, greys with and without key, and some tints a second time far from their first place. Bare paper
stands all over the sheet, because it shows how even the light of a scan is. What is measured at a place and what is
printed there are thus told apart.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import product
from typing import Any, Self

import numpy as np
import numpy.typing as npt

from bible.colour.tints import PAPER, Tint

FloatArray = npt.NDArray[np.float64]

PAGE_SIZES = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
"""Millimetres, upright (ISO 216; ANSI/ASME Y14.1)."""

MARGIN = 9.0
"""Millimetres kept free: office printers and grippers leave some 5 to 8 blank (common practice, no source)."""

MARK_SIDE = 9.0
"""Millimetres: at 150 dots an inch each of a mark's seven modules is still 7 pixels wide."""

SIDES_KEPT, HEAD, FOOT = 22.0, 23.0, 24.0
"""Millimetres left of the patches and right of them, above, and below: marks, writing, and a rim of bare paper."""

TARGET_PLACE = (112.0, 74.0)
"""Millimetres: what a colour target of 24 patches of pocket size takes, with room to lay it down."""

GAP, LABEL = 1.6, 3.0
"""Millimetres of paper between patches, and for the code beneath one."""

LARGEST_CELL, SMALLEST_CELL, CELL_STEP = 20.0, 8.0, 0.25
"""Millimetres. In the smallest, at 65 lines an inch, a patch is still 12 screen periods high."""

PAPER_EVERY = 14
"""A patch of bare paper behind so many others."""

RAMP = (10, 20, 30, 40, 50, 60, 70, 80, 90, 100)
GREYS = ((25, 19, 19), (50, 40, 40), (75, 66, 66))
"""Percentages of cyan, magenta and yellow that come out near grey (common practice, no source)."""

KEY_STEPS = (40, 70)
SECOND_TIME = 16
"""Tints printed twice."""

CHECKS = 100
"""Different numbers that the marks of a sheet can carry."""

MARK_PLACES = ("top left", "top right", "bottom right", "bottom left")
MARKS_PER_SHEET = 10


class SheetError(ValueError):
    """These tints make no sheet, or this is no sheet's layout; the message says why."""


@dataclass(frozen=True, slots=True)
class SheetPatch:
    """A patch: its code as printed, the tint it is to hold, and its place in millimetres from top left."""

    code: str
    tint: Tint
    x: float
    y: float
    width: float
    height: float

    @property
    def corners(self) -> FloatArray:
        """(4, 2) clockwise from top left, millimetres."""
        right, bottom = self.x + self.width, self.y + self.height
        return np.array([[self.x, self.y], [right, self.y], [right, bottom], [self.x, bottom]])


@dataclass(frozen=True)
class SheetLayout:
    """A page of patches.

    Attributes:
        title: what is written on it.
        width, height: of the page, millimetres; for a chart that hangs on the wall any unit.
        patches: in reading order.
        target: where a colour target may lie, as x, y, width, height; None where there is no such place.
        page: “a4” or “letter”; empty for a chart that we did not print and that carries no marks of ours.
    """

    title: str
    width: float
    height: float
    patches: tuple[SheetPatch, ...]
    target: tuple[float, float, float, float] | None = None
    page: str = ""

    @cached_property
    def check(self) -> int:
        """The number 0-99 that its marks carry: a scan of another sheet is noticed."""
        content = json.dumps([self.page, [[patch.code, *patch.tint.percentages] for patch in self.patches]])
        return int.from_bytes(hashlib.sha256(content.encode()).digest()[:4], "big") % CHECKS

    @cached_property
    def tints(self) -> FloatArray:
        """Percentages (n, 4) of the patches."""
        return np.array([patch.tint.percentages for patch in self.patches], dtype=np.float64).reshape(-1, 4)

    @property
    def marked(self) -> bool:
        """Whether it carries corner marks."""
        return bool(self.page)

    def marks(self) -> Iterator[tuple[int, FloatArray]]:
        """Number and corners (4, 2), millimetres, of its marks: the four corners first, clockwise."""
        low, right, bottom = MARGIN, self.width - MARGIN - MARK_SIDE, self.height - MARGIN - MARK_SIDE
        middle, third = (low + right) / 2, (bottom - low) / 3
        places = [(low, low), (right, low), (right, bottom), (low, bottom), (middle, low), (middle, bottom)]
        places += [(x, low + step * third) for x in (low, right) for step in (1, 2)]
        square = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]]) * MARK_SIDE
        for at, place in enumerate(places):
            yield self.check * MARKS_PER_SHEET + at, square + place

    def paper_spots(self) -> FloatArray:
        """Centres (m, 2) of spots in the rim where nothing is printed."""
        edge = MARGIN + MARK_SIDE / 2
        down = [self.height * share for share in (0.18, 0.27, 0.5, 0.73, 0.82)]
        across = [self.width * share for share in (0.22, 0.35, 0.65, 0.78)]
        return np.array(
            [(x, y) for x in (edge, self.width - edge) for y in down] + [(x, self.height - edge) for x in across]
        )

    def to_dict(self) -> dict[str, Any]:
        patches = [
            {
                "code": patch.code,
                "tint": list(patch.tint.percentages),
                "place": [patch.x, patch.y, patch.width, patch.height],
            }
            for patch in self.patches
        ]
        kept = {"title": self.title, "page": self.page, "width": self.width, "height": self.height}
        return kept | {"check": self.check, "target": list(self.target) if self.target else None, "patches": patches}

    @classmethod
    def from_dict(cls, data: Any) -> Self:
        """The inverse of ``to_dict``. SheetError for anything that is not a sheet's layout."""
        try:
            patches = tuple(_patch(row) for row in data["patches"])
            target = tuple(float(value) for value in data["target"]) if data.get("target") else None
            page, width, height = str(data["page"]), float(data["width"]), float(data["height"])
            if target is not None and len(target) != 4:
                raise ValueError("a target's place is four figures")
            sheet = cls(str(data["title"]), width, height, patches, target, page)
        except (KeyError, TypeError, ValueError, AttributeError) as error:
            raise SheetError(f"this is not the layout of a chart sheet: {error}") from error
        if not patches or len(patches) > MOST_PATCHES or page not in ("", *PAGE_SIZES):
            raise SheetError("this is not the layout of a chart sheet: it has no patches, too many, or an odd page")
        if not (0 < width <= 5000 and 0 < height <= 5000 and all(_inside(patch, width, height) for patch in patches)):
            raise SheetError("this is not the layout of a chart sheet: patches lie outside the page")
        return sheet


MOST_PATCHES = 2_000
"""Patches read from one picture."""


def _patch(row: Mapping[str, Any]) -> SheetPatch:
    x, y, width, height = (float(value) for value in row["place"])
    return SheetPatch(str(row["code"])[:80], Tint(*row["tint"]), x, y, width, height)


def _inside(patch: SheetPatch, width: float, height: float) -> bool:
    return (
        patch.width > 0
        and patch.height > 0
        and 0 <= patch.x <= width - patch.width + 1e-6
        and 0 <= patch.y <= height - patch.height + 1e-6
    )


def lay_out(tints: Sequence[Tint], write: Callable[[Tint], str], *, title: str, page: str = "a4") -> SheetLayout:
    """The sheet of a chart.

    Args:
        tints: the chart's, in its order.
        write: a tint as its code.
        title: written on top.
        page: one of ``PAGE_SIZES``.

    Raises:
        SheetError: there is no such page, or the tints do not fit on one.
    """
    if page not in PAGE_SIZES:
        raise SheetError(f"a sheet is one of {', '.join(PAGE_SIZES)}, not {page!r}")
    width, height = PAGE_SIZES[page]
    target = (width - SIDES_KEPT - TARGET_PLACE[0], height - FOOT - TARGET_PLACE[1], *TARGET_PLACE)
    wanted = list(_with_paper([*tints, *_besides(tints)]))
    cell = LARGEST_CELL
    while len(places := _cells(width, height, target, cell)) < len(wanted):
        cell -= CELL_STEP
        if cell < SMALLEST_CELL:
            most = len(_cells(width, height, target, SMALLEST_CELL))
            raise SheetError(f"a page holds {most} patches; this chart with its ramps has {len(wanted)}")
    size = (cell - GAP, cell - GAP - LABEL)
    patches = tuple(SheetPatch(write(tint), tint, x, y, *size) for tint, (x, y) in zip(wanted, places, strict=False))
    return SheetLayout(title, width, height, patches, target, page)


def _cells(
    width: float, height: float, target: tuple[float, float, float, float], cell: float
) -> list[tuple[float, float]]:
    """Where cells of this side begin, in reading order, the place of the target left out."""
    columns, rows = (width - 2 * SIDES_KEPT) / cell, (height - HEAD - FOOT) / cell
    left = SIDES_KEPT + (columns - int(columns)) * cell / 2
    return [
        (left + column * cell, HEAD + row * cell)
        for row, column in product(range(int(rows)), range(int(columns)))
        if not (left + (column + 1) * cell > target[0] - GAP and HEAD + (row + 1) * cell > target[1] - GAP)
    ]


def _besides(tints: Sequence[Tint]) -> Iterator[Tint]:
    """What a press condition needs beside the chart's own tints, each once; then some of it all a second time."""
    seen = set(tints)
    more: list[Tint] = []
    for tint in _useful():
        if tint not in seen:
            seen.add(tint)
            more.append(tint)
    yield from more
    printed = [tint for tint in tints if not tint.is_paper] or more
    step = max(1, len(printed) // SECOND_TIME)
    # Those that come first stand last here, so that the two places of a tint lie far apart.
    yield from printed[::step][:SECOND_TIME]


def _useful() -> Iterator[Tint]:
    for ink, percent in product("cmyk", RAMP):
        yield Tint(**{ink: percent})
    for c, m, y, k in product((0, 100), repeat=4):
        yield Tint(c, m, y, k)
    for c, m, y in GREYS:
        yield Tint(c, m, y)
        yield Tint(c, m, y, KEY_STEPS[0])
    for key, (c, m, y) in product(KEY_STEPS, product((0, 50), repeat=3)):
        yield Tint(c, m, y, key)
    for key, ink in product(KEY_STEPS, "cmy"):
        yield Tint(**{ink: 100, "k": key})


def _with_paper(tints: Sequence[Tint]) -> Iterator[Tint]:
    for at, tint in enumerate(tints):
        if at % PAPER_EVERY == PAPER_EVERY - 1:
            yield PAPER
        yield tint


def wall_chart(
    codes: Sequence[str], tints: Sequence[Tint], rows: int, columns: int, *, title: str = "chart"
) -> SheetLayout:
    """The layout of a chart that hangs on the wall: so many rows and columns of cells of one size, read line by line.

    A cell without a tint of its own is left out by giving it an empty code.

    Raises:
        SheetError: there are not as many codes as cells.
    """
    if rows < 1 or columns < 1 or rows * columns > MOST_PATCHES:
        raise SheetError(f"rows and columns are 1 or more, and at most {MOST_PATCHES} cells")
    if not len(codes) == len(tints) == rows * columns:
        raise SheetError(f"{rows} rows of {columns} are {rows * columns} cells; there are {len(codes)} codes")
    patches = tuple(
        SheetPatch(code, tint, float(at % columns), float(at // columns), 1.0, 1.0)
        for at, (code, tint) in enumerate(zip(codes, tints, strict=True))
        if code
    )
    return SheetLayout(title, float(columns), float(rows), patches)
