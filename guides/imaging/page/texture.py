"""Paint that consists of strokes: scales, feathers, foliage, a wash over wet paper.

Cell by cell such paint looks like writing. But no writing is broad all over: where strokes lie side by side they are
the paint, and are told apart at a coarser scale, at which they average.
"""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from guides.imaging.page.cells import bordering, counted, measured
from guides.imaging.page.filling import Labels, cells, spread
from guides.imaging.page.joining import join_paints_only, pencilled
from guides.imaging.page.scaling import BoolArray, Float32Array
from guides.imaging.page.strokes import edges

BROAD = 3.5
"""Radius in pens of a disc of nothing but strokes from which they are paint."""

COARSER = 4
"""How much coarser strokes are looked at to average."""

EDGE = 9.0
"""Steepness at that scale from which there is an edge between paints (CIELAB over two pixels)."""


BETWEEN_LETTERS = 0.1
"""Share of pencil in strokes that run together, the paint between them counted, from which they are writing: bold
letters side by side are as broad as foliage, but their colour is their ground's with pencil over it."""

STREAKS = 14.0
"""CIE76 distance from the area they lie on within which strokes are that area's own streaks."""


def add_textured(
    areas: Labels, strokes: BoolArray, core: BoolArray, lab: Float32Array, depth: Float32Array, pen: float
) -> BoolArray:
    """Number areas of strokes behind the others, in place, and return where (h, w) they are.

    Args:
        areas: (h, w), with the strokes given to what they lie on; core: where the areas' paint shows.
        strokes: (h, w), what looks like writing; lab, depth: the page's colours and densities (h, w, 3).
    """
    pieces = textured(strokes, lab, pen)
    if pieces is None:
        return np.zeros(areas.shape, bool)
    inside, shown = pieces > 0, core & ~strokes
    piece, number = pieces[inside], int(pieces.max()) + 1
    beneath = _commonest(piece, areas[inside], number)
    own = _means(piece, lab[inside], number)
    light = _means(piece, np.exp(-depth[inside]), number)  # of letters and gaps light mixes, density does not
    count = int(areas.max()) + 1
    under, ground = (_means(areas[shown], plane[shown], count)[beneath] for plane in (lab, depth))
    written = pencilled(-np.log(np.maximum(light, 1e-4)), ground, BETWEEN_LETTERS)
    apart = (np.linalg.norm(own - under, axis=1) > STREAKS) & ~written
    apart[0] = False
    name = np.where(apart, np.cumsum(apart) + areas.max(), 0).astype(np.int32)[pieces]
    painted = name > 0
    areas[painted] = name[painted]
    return np.asarray(painted)


def _commonest(piece: npt.NDArray[np.int32], area: npt.NDArray[np.int32], number: int) -> npt.NDArray[np.int32]:
    """The area (number,) that most of each piece lies on."""
    pairs, counts = np.unique(np.stack([piece, area]), axis=1, return_counts=True)
    order = np.argsort(counts, kind="stable")
    beneath = np.zeros(number, np.int32)
    beneath[pairs[0, order]] = pairs[1, order]
    return beneath


def _means(which: npt.NDArray[np.int32], values: Float32Array, number: int) -> npt.NDArray[np.float64]:
    """Means (number, 3) of values (n, 3) by place; 0 where there is none."""
    count = np.maximum(counted(which, None, number), 1)
    return np.stack([counted(which, plane, number) / count for plane in values.T], axis=1)


def textured(strokes: BoolArray, lab: Float32Array, pen: float) -> Labels | None:
    """Areas (h, w) of paint that consists of strokes, from 1, 0 elsewhere; None where there are none.

    Args:
        strokes: (h, w), what looks like writing; lab: the page's colours (h, w, 3).
    """
    room = cv2.distanceTransform(np.pad(strokes.astype(np.uint8), 1), cv2.DIST_L2, 3)[1:-1, 1:-1]
    core = room > BROAD * pen
    if not core.any():
        return None
    reach = cv2.distanceTransform((~core).astype(np.uint8), cv2.DIST_L2, 3)
    broad = strokes & (reach < (BROAD + 1.0) * pen)
    height, width = strokes.shape
    size = (max(1, width // COARSER), max(1, height // COARSER))
    share = cv2.resize(broad.astype(np.float32), size, interpolation=cv2.INTER_AREA)
    total = cv2.GaussianBlur(cv2.resize(lab * broad[..., None], size, interpolation=cv2.INTER_AREA), (0, 0), 1.5)
    colour = np.asarray(total / np.maximum(cv2.GaussianBlur(share, (0, 0), 1.5), 1e-3)[..., None], np.float32)
    inside = share > 0.5
    wall = ~inside | (edges(colour) > EDGE)
    numbered = cells(wall, 1.5)
    if not numbered.any():
        return None
    labels, _ = spread(numbered)
    away = cv2.distanceTransform(inside.astype(np.uint8), cv2.DIST_L2, 3)
    nothing = np.zeros_like(inside)
    into = join_paints_only(
        measured(labels, (numbered > 0) & inside, colour, np.zeros_like(colour), away),
        bordering(labels, ~inside, nothing, colour, 2),
        1.5,
    )
    coarse = into.astype(np.int32)[labels]
    full = cv2.resize(coarse, (width, height), interpolation=cv2.INTER_NEAREST)
    return np.where(broad, full, 0).astype(np.int32)
