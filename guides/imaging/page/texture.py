"""Paint that consists of strokes: scales, feathers, foliage, a wash over wet paper.

Cell by cell such paint looks like writing. But no writing is broad all over: where strokes lie side by side they are
the paint, and are told apart at a coarser scale, at which they average.
"""

from __future__ import annotations

import cv2
import numpy as np

from guides.imaging.page.cells import bordering, measured
from guides.imaging.page.filling import Labels, cells, spread
from guides.imaging.page.joining import join_paints_only
from guides.imaging.page.scaling import BoolArray, Float32Array
from guides.imaging.page.strokes import edges

BROAD = 3.5
"""Radius in pens of a disc of nothing but strokes from which they are paint."""

COARSER = 4
"""How much coarser strokes are looked at to average."""

EDGE = 9.0
"""Steepness at that scale from which there is an edge between paints (CIELAB over two pixels)."""


def textured(strokes: BoolArray, lab: Float32Array, depth: Float32Array, pen: float) -> Labels | None:
    """Areas (h, w) of paint that consists of strokes, from 1, 0 elsewhere; None where there are none.

    Args:
        strokes: (h, w), what looks like writing; lab, depth: the page's colours and densities (h, w, 3).
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
    averaged = [
        cv2.GaussianBlur(cv2.resize(plane * broad[..., None], size, interpolation=cv2.INTER_AREA), (0, 0), 1.5)
        / np.maximum(cv2.GaussianBlur(share, (0, 0), 1.5), 1e-3)[..., None]
        for plane in (lab, depth)
    ]
    inside = share > 0.5
    colour, density = (np.asarray(plane, np.float32) for plane in averaged)
    wall = ~inside | (edges(colour) > EDGE)
    found = cells(wall, 1.5)
    if not found.any():
        return None
    labels, _ = spread(found)
    away = cv2.distanceTransform(inside.astype(np.uint8), cv2.DIST_L2, 3)
    nothing = np.zeros_like(inside)
    into = join_paints_only(
        measured(labels, (found > 0) & inside, colour, density, away),
        bordering(labels, ~inside, nothing, colour, 2),
        1.5,
    )
    coarse = into.astype(np.int32)[labels]
    full = cv2.resize(coarse, (width, height), interpolation=cv2.INTER_NEAREST)
    return np.where(broad, full, 0).astype(np.int32)
