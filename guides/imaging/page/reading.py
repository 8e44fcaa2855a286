"""From the scan of a page to its map."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from guides.imaging.page.cells import Cells, bordering, measured
from guides.imaging.page.filling import Labels, cells, spread
from guides.imaging.page.joining import join
from guides.imaging.page.measuring import measured_areas
from guides.imaging.page.page_map import MOST_NUMBERS, PageMap
from guides.imaging.page.paper import linear
from guides.imaging.page.scaling import PAPER_LEVEL, BoolArray, EvenPage, Float32Array, Image, even_page
from guides.imaging.page.strokes import edges, line_art, opponent

LOOSE = 22.0
"""Longest side in pens of a piece of ink that is writing, an eye or a button, and no outline."""

LOOSE_AT_MOST, ONE_PAINT = 90.0, 5.0
"""The same where the paint all around a piece spreads no more than this (CIELAB)."""

EDGE = 6.0
"""Steepness (CIELAB over two pixels) from which there is an edge between paints: more than paper and grain have."""

UNDER_LINES = 1.6
"""How far in pens areas run under the line art."""

GREY_CHROMA = 4.0
"""A page is grey when 99.8 % of it is within this chroma of its commonest tone: bare paper may be yellow."""

BLANK_SPREAD = 3.0
"""Spread of L* below which a grey page has no drawing on it either."""

SOFT = 0.02
"""Share of the paper's light below which a scanner's noise says more than the paint does."""

MM_PER_INCH = 25.4


def read_page_map(rgb: Image, *, dpi: float | None = None, page_mm: tuple[float, float] | None = None) -> PageMap:
    """The map of a page.

    Args:
        rgb: the upright scan, uint8 sRGB (h, w, 3), of any size.
        dpi: pixels an inch of the *page*, where known; a reduced copy has fewer than its scanner says.
        page_mm: width and height of the page in millimetres; it wins over ``dpi``.

    Raises:
        ValueError: not such a picture, or a size that is not positive.
    """
    mm = _millimetres(rgb, dpi, page_mm)
    page = even_page(rgb)
    lab = opponent(page.even)
    line = line_art(page)
    wall = line | (edges(lab) > EDGE)
    found = cells(wall, page.pen)
    labels, far = spread(found)
    away = cv2.distanceTransform((~wall).astype(np.uint8), cv2.DIST_L2, 3)
    core = found > 0
    depth = np.asarray(cv2.LUT(page.even, _DEPTH), dtype=np.float32)
    reach = max(2, round(0.8 * page.pen), round(1.2 * page.scale))
    known = measured(labels, core, lab, depth, away)
    loose = _loose(line, labels, known, page.pen)
    outline = line & ~loose
    joined = join(known, bordering(labels, outline, loose, lab, reach), page.pen)
    strokes = joined.strokes[labels]
    areas = joined.into.astype(np.int32)[labels]
    areas[line & (far > UNDER_LINES * page.pen)] = 0
    areas = _numbered(areas)
    measured_ = measured_areas(areas, core & ~strokes, lab, depth, page.scale, mm)
    grey, blank = _colourless(lab)
    return PageMap(
        areas, measured_, outline, loose | (strokes & ~line), page.paper, page.scale,
        (rgb.shape[1], rgb.shape[0]), page.pen, mm, grey, blank, _remarks(page, line),
    )  # fmt: skip


def _millimetres(rgb: Image, dpi: float | None, page_mm: tuple[float, float] | None) -> float | None:
    if page_mm is not None:
        if not min(page_mm) > 0:
            raise ValueError(f"a page is not {page_mm[0]} by {page_mm[1]} mm large")
        return float(np.sqrt(page_mm[0] * page_mm[1] / max(rgb.shape[0] * rgb.shape[1], 1)))
    if dpi is not None:
        if not dpi > 0:
            raise ValueError(f"there are no {dpi} pixels in an inch")
        return MM_PER_INCH / dpi
    return None


def _loose(line: BoolArray, labels: Labels, known: Cells, pen: float) -> BoolArray:
    """Ink (h, w) that bounds nothing: small pieces that hang together with no other line, and larger ones with one
    paint all around them, as words with their arrow have."""
    count, pieces, stats, _ = cv2.connectedComponentsWithStats(line.astype(np.uint8), connectivity=8)
    long = stats[:, [cv2.CC_STAT_WIDTH, cv2.CC_STAT_HEIGHT]].max(axis=1)
    piece = pieces[line]
    colour = known.mean[:, :3].astype(np.float32)[labels[line]]
    seen = np.maximum(np.bincount(piece, minlength=count), 1)
    spread_ = np.zeros(count)
    for plane in colour.T:
        mean = np.bincount(piece, plane, minlength=count) / seen
        spread_ += np.bincount(piece, plane * plane, minlength=count) / seen - mean**2
    loose = (long < LOOSE * pen) | ((long < LOOSE_AT_MOST * pen) & (spread_ < ONE_PAINT**2))
    loose[0] = False
    return np.asarray(loose[pieces])


def _numbered(labels: npt.NDArray[np.int32]) -> npt.NDArray[np.int32]:
    """The same areas numbered from 1 without holes, in the order of the old numbers; the smallest of too many go."""
    size = np.bincount(labels.ravel())
    present = size > 0
    if present.sum() > MOST_NUMBERS:
        present[np.argsort(-size)[MOST_NUMBERS:]] = False
    present[0] = False
    return np.asarray(np.where(present, np.cumsum(present), 0).astype(np.int32)[labels])


def _colourless(lab: Float32Array) -> tuple[bool, bool]:
    """Whether a page is grey, and whether it is blank."""
    few = lab[::7, ::7].reshape(-1, 3)
    chroma = np.hypot(*(few[:, 1:] - np.median(few[:, 1:], axis=0)).T)
    grey = bool(np.percentile(chroma, 99.8) < GREY_CHROMA)
    return grey, grey and bool(few[:, 0].std() < BLANK_SPREAD)


def _remarks(page: EvenPage, line: BoolArray) -> tuple[str, ...]:
    return ()


_DEPTH = -np.log((linear(np.arange(256) / 255.0) / PAPER_LEVEL + SOFT) / (1.0 + SOFT)).astype(np.float32)
