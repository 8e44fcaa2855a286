"""From the scan of a page to its map."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from guides.imaging.page.cells import Cells, FloatArray, bordering, measured
from guides.imaging.page.filling import Labels, cells, spread
from guides.imaging.page.gaps import gaps_of, keep_in, ringed
from guides.imaging.page.joining import LEAST, join
from guides.imaging.page.measuring import measured_areas
from guides.imaging.page.page_map import MOST_NUMBERS, PageMap
from guides.imaging.page.paper import linear
from guides.imaging.page.remarks import colourless, remarks_on
from guides.imaging.page.scaling import PAPER_LEVEL, BoolArray, EvenPage, Float32Array, Image, even_page
from guides.imaging.page.strokes import edges, line_art, opponent
from guides.imaging.page.texture import add_textured

LOOSE = 22.0
"""Longest side in pens of a piece of ink that is writing, an eye or a button, and no outline."""

LOOSE_AT_MOST, ONE_PAINT = 90.0, 5.0
"""The same where the paint all around a piece spreads no more than this (CIELAB)."""

EDGE = 6.0
"""Steepness (CIELAB over two pixels) from which there is an edge between paints: more than paper and grain have."""

UNDER_LINES = 1.6
"""How far in pens areas run under the line art."""

DOT, IN_WORDS = 3.0, 0.3
"""Where it is known where writing stands: longest side in pens of a piece of ink that bounds nothing wherever it is,
and the share of a longer one that must lie within words for it to be writing."""

SOFT = 0.02
"""Share of the paper's light below which a scanner's noise says more than the paint does."""

MM_PER_INCH = 25.4


def read_page_map(
    rgb: Image,
    *,
    dpi: float | None = None,
    page_mm: tuple[float, float] | None = None,
    words: Sequence[FloatArray] | None = None,
) -> PageMap:
    """The map of a page.

    Args:
        rgb: the upright scan, uint8 sRGB (h, w, 3), of any size.
        dpi: pixels an inch of the *page*, where known; a reduced copy has fewer than its scanner says.
        page_mm: width and height of the page in millimetres; it wins over ``dpi``.
        words: corners (4, 2) in pixels of all writing on the page; None where nobody has looked for it, and every
            small piece of ink is taken for writing.

    Raises:
        ValueError: not such a picture, or a size that is not positive.
    """
    mm = _millimetres(rgb, dpi, page_mm)
    page = even_page(rgb)
    lab = opponent(page.even)
    depth = np.asarray(cv2.LUT(page.even, _DEPTH), dtype=np.float32)
    drawn = _areas(page, lab, depth, None if words is None else _word_mask(words, lab.shape[:2], page.scale))
    areas = measured_areas(drawn.labels, drawn.core, lab, depth, page.scale, mm)
    colour = colourless(lab)
    return PageMap(
        drawn.labels, areas, drawn.outline, drawn.writing, page.paper, page.scale, (rgb.shape[1], rgb.shape[0]),
        page.pen, mm, *colour, remarks_on(rgb, page, drawn.line, areas, colour),
    )  # fmt: skip


@dataclass(frozen=True, eq=False)
class _Found:
    """All (h, w): ``labels`` of the areas; ``core`` where their paint shows; ``line`` all ink, ``outline`` what of it
    bounds areas, ``writing`` what lies over them."""

    labels: Labels
    core: BoolArray
    line: BoolArray
    outline: BoolArray
    writing: BoolArray


def _areas(page: EvenPage, lab: Float32Array, depth: Float32Array, written: BoolArray | None) -> _Found:
    line = line_art(page)
    filled = cells(line | (edges(lab) > EDGE), page.pen)
    labels, far = spread(filled)
    gaps = gaps_of(line)
    core = keep_in(labels, filled, gaps, LEAST * page.pen**2) | (filled > 0)
    known = measured(labels, core, lab, depth, _room(labels, line), written)
    loose = _loose(line, labels, known, page.pen, written, gaps)
    outline = line & ~loose
    reach = max(2, round(0.8 * page.pen), round(1.2 * page.scale))
    joined = join(known, bordering(labels, outline, loose, lab, reach), page.pen)
    strokes = joined.strokes[labels]
    areas = joined.into.astype(np.int32)[labels]
    areas[line & (far > UNDER_LINES * page.pen)] = 0
    strokes &= ~add_textured(areas, strokes & ~line, core, lab, depth, page.pen)
    return _Found(_numbered(areas), core & ~strokes, line, outline, loose | (strokes & ~line))


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


def _word_mask(words: Sequence[FloatArray], shape: tuple[int, ...], scale: float) -> BoolArray:
    """Where (h, w) words stand, working pixels."""
    inside = np.zeros(shape, np.uint8)
    for corners in words:
        cv2.fillPoly(inside, [np.rint(np.asarray(corners) * scale).astype(np.int32)], 1)
    return np.asarray(inside > 0)


def _loose(
    line: BoolArray, labels: Labels, known: Cells, pen: float, written: BoolArray | None, gaps: Labels
) -> BoolArray:
    """Ink (h, w) that bounds nothing: small pieces that hang together with no other line and, where it is known where
    words stand, lie in them and go around nothing else, so that a button's outline is one; and larger ones with one
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
    small = long < LOOSE * pen
    if written is not None:
        small &= (long < DOT * pen) | (np.bincount(piece, written[line], minlength=count) > IN_WORDS * seen)
        small &= ~ringed(pieces, small, gaps, pen, written)
    loose = small | ((long < LOOSE_AT_MOST * pen) & (spread_ < ONE_PAINT**2))
    loose[0] = False
    return np.asarray(loose[pieces])


def _room(labels: Labels, line: BoolArray) -> Float32Array:
    """Distance (h, w) to the nearest line, or to where another cell begins."""
    free = (~line).astype(np.uint8)
    free[:, 1:] &= labels[:, 1:] == labels[:, :-1]
    free[1:] &= labels[1:] == labels[:-1]
    return np.asarray(cv2.distanceTransform(free, cv2.DIST_L2, 3), dtype=np.float32)


def _numbered(labels: npt.NDArray[np.int32]) -> npt.NDArray[np.int32]:
    """The same areas numbered from 1 without holes, in the order of the old numbers; the smallest of too many go."""
    size = np.bincount(labels.ravel())
    present = size > 0
    if present.sum() > MOST_NUMBERS:
        present[np.argsort(-size)[MOST_NUMBERS:]] = False
    present[0] = False
    return np.asarray(np.where(present, np.cumsum(present), 0).astype(np.int32)[labels])


_DEPTH = -np.log((linear(np.arange(256) / 255.0) / PAPER_LEVEL + SOFT) / (1.0 + SOFT)).astype(np.float32)
