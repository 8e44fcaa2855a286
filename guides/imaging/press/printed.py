"""The page as the press would print it: every marked area in its tint's printed colour, the line art on top.

What has no mark does not print: painted areas without one are hatched, so that nobody takes them for bare paper.
A screen is not a proof; whoever shows this names the press condition.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from bible.colour.press import PressCondition
from bible.colour.tints import Tint
from guides.imaging.page.page_map import PageMap
from guides.imaging.page.regions import Image, Regions, grow

FloatArray = npt.NDArray[np.float64]

FADE_STEPS = 64
"""Colours along a gradient: finer than 8-bit sRGB shows on most fades."""

HATCH_PERIOD, HATCH_DARK = 8, 0.82
"""Pixels between the lines that cross unmarked paint, and the share of light they leave."""

JPEG_QUALITY = 85


@dataclass(frozen=True, slots=True)
class Area:
    """A mark as the press sees it. Places are fractions of the page; ``tint`` None: its code cannot be read."""

    x: float
    y: float
    tint: Tint | None
    to_tint: Tint | None = None
    to: tuple[float, float] | None = None


@dataclass(frozen=True, eq=False)
class PrintedPage:
    """The printed page and what it takes.

    Attributes:
        rgb: uint8 sRGB (h, w, 3).
        coverage: nominal area coverage of the whole page per ink, percent, in the order of ``INKS``; key is the
            line art as the scan shows it, writing and all.
        heaviest: the largest total ink of any marked area, percent (0-400).
        unmarked: share of the page, 0-1, that is painted and has no mark.
        regions: the areas.
    """

    rgb: Image
    coverage: tuple[float, float, float, float]
    heaviest: int
    unmarked: float
    regions: Regions

    def jpeg(self) -> bytes:
        from PIL import Image as Pillow

        out = io.BytesIO()
        Pillow.fromarray(self.rgb).save(out, "JPEG", quality=JPEG_QUALITY, subsampling=0)
        return out.getvalue()


@dataclass(frozen=True, eq=False)
class Separation:
    """What the plates of a page hold.

    Attributes:
        table: (n, 4) percentages of C, M, Y, K.
        which: (h, w), the row of ``table`` that a pixel prints; row 0 is bare paper.
        line: (h, w) float32, how much of a pixel the line art covers on the key plate, 0-1.
    """

    table: FloatArray
    which: npt.NDArray[np.int64]
    line: npt.NDArray[np.float32]


def separated(image: Image, areas: Sequence[Area], page: PageMap | None = None) -> tuple[Separation, Regions]:
    """The plates of a painted page by its marks, and the areas they are cut for; arguments as ``printed_page``."""
    height, width = image.shape[:2]
    read = [area for area in areas if area.tint is not None]
    regions = grow(image, [(area.x * width, area.y * height) for area in read], page=page)
    # One row of percentages a flat area; a fade has a row for each of its steps.
    rows, row_of = [np.zeros((1, 4))], np.zeros(len(read) + 1, np.int64)
    at = 1
    for index, area in enumerate(read):
        assert area.tint is not None
        steps = FADE_STEPS if area.to_tint else 1
        share = np.linspace(0.0, 1.0, steps)[:, None]
        ends = [np.array(tint.percentages, float) for tint in (area.tint, area.to_tint or area.tint)]
        rows.append(np.clip(ends[0] * (1 - share) + ends[1] * share, 0.0, 100.0))
        row_of[index + 1] = at
        at += steps
    which = row_of[regions.labels]
    for index, area in enumerate(read):
        if area.to_tint:
            _fade(which, regions.labels, index + 1, area, int(row_of[index + 1]))
    return Separation(np.concatenate(rows), which, regions.line), regions


def printed_page(
    image: Image, areas: Sequence[Area], press: PressCondition, page: PageMap | None = None
) -> PrintedPage:
    """Fill each area of a painted page with its printed colour.

    Args:
        image: the painted page, uint8 sRGB (h, w, 3).
        areas: its marks; one whose code cannot be read leaves its area unmarked.
        press: the condition.
        page: the map kept with this page; without one it is made.
    """
    separation, regions = separated(image, areas, page)
    table, which = separation.table, separation.which
    bare, black = _light(press, table), _light(press, table * [1, 1, 1, 0] + [0, 0, 0, 100])
    # Most pixels are plain: their colour is looked up as it is shown, and light is mixed for the others alone.
    rgb = np.take(_coded(bare), which, axis=0)
    hatched = _hatched(regions.unmarked)
    mixed = (regions.line > 0) | hatched
    tint, cover = which[mixed], regions.line[mixed][:, None]
    light = bare[tint] * (1 - cover) + black[tint] * cover
    light[hatched[mixed]] *= np.float32(HATCH_DARK)
    rgb[mixed] = _coded(light)
    counts = np.bincount(which.ravel(), minlength=len(table))
    coverage = counts @ table / which.size
    coverage[3] = 100 * float(np.maximum(regions.line, (table[:, 3] / 100).astype(np.float32)[which]).mean())
    c, m, y, k = (round(float(value), 2) for value in coverage)
    totals = table[counts > 0].sum(axis=1)
    return PrintedPage(rgb, (c, m, y, k), round(float(totals.max())), float(regions.unmarked.mean()), regions)


def _light(press: PressCondition, table: FloatArray) -> npt.NDArray[np.float32]:
    """Linear light (n, 3) of tints, so that lines blend as ink on paper does."""
    return ((press.srgb(table).rgb / 255.0) ** 2.2).astype(np.float32)


_CODES = 4096
_TO_CODED = np.round(255 * (np.arange(_CODES) / (_CODES - 1)) ** (1 / 2.2)).astype(np.uint8)


def _coded(light: npt.NDArray[np.float32]) -> Image:
    return _TO_CODED[np.clip(light * (_CODES - 1) + 0.5, 0, _CODES - 1).astype(np.int16)]


def _fade(which: npt.NDArray[np.int64], labels: npt.NDArray[np.int32], label: int, area: Area, first: int) -> None:
    """Give a gradient's pixels the row of their step along its arrow."""
    height, width = labels.shape
    rows, columns = np.nonzero(labels == label)
    start = np.array([area.x * width, area.y * height])
    arrow = np.array(area.to or (area.x, 1.0)) * [width, height] - start
    length = float(arrow @ arrow) or 1.0
    share = ((columns - start[0]) * arrow[0] + (rows - start[1]) * arrow[1]) / length
    which[rows, columns] = first + np.round(np.clip(share, 0, 1) * (FADE_STEPS - 1)).astype(np.int64)


def _hatched(unmarked: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    """Where (h, w) fine diagonals cross unmarked paint."""
    height, width = unmarked.shape
    return unmarked & ((np.arange(height)[:, None] + np.arange(width)) % HATCH_PERIOD < 2)
