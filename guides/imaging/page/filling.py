"""The page cut into cells: whatever a ball finds between lines and edges, gaps closed to it.

Trapped-ball filling after Zhang, Chen, Zhang, Hu and Martin, "Vectorizing Cartoon Animations", IEEE Transactions on
Visualization and Computer Graphics 15(4), 2009: a large ball cannot leave a shape through a gap in its line; smaller
and smaller balls then fill what the larger ones could not reach, and extend what they touch. Here the balls are
levels of the distance to the nearest wall.
"""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from guides.imaging.page.scaling import BoolArray, Float32Array

Labels = npt.NDArray[np.int32]

LARGEST_BALL = 2.0
"""Radius of the first ball in pens: gaps up to four pens wide are closed."""

SMALLER = 1.5
"""From one ball to the next."""

SMALLEST_BALL = 0.8
"""Radius of the last ball, working pixels: a cell has at least one pixel that touches no wall."""


def cells(wall: BoolArray, pen: float) -> Labels:
    """Cells (h, w) numbered from 1; 0 on walls and in cracks that no ball gets into."""
    away = cv2.distanceTransform((~wall).astype(np.uint8), cv2.DIST_L2, 5)
    radius = LARGEST_BALL * pen
    labels = np.zeros(wall.shape, np.int32)
    seeds = np.zeros(0, np.int64)
    while True:
        labels, seeds = _rolled(away > radius, labels, seeds)
        if radius <= SMALLEST_BALL:
            return labels
        radius = max(radius / SMALLER, SMALLEST_BALL)


def _rolled(free: BoolArray, labels: Labels, seeds: npt.NDArray[np.int64]) -> tuple[Labels, npt.NDArray[np.int64]]:
    """One smaller ball: extends the cells it touches, and makes new ones where there are none.

    ``seeds`` (n,) is a pixel of each cell, as a place in the flattened page.
    """
    count, pieces = cv2.connectedComponents(free.astype(np.uint8), connectivity=4, ltype=cv2.CV_32S)
    piece_of = pieces.ravel()[seeds]
    held = np.bincount(piece_of, minlength=count)
    held[0] = -1
    owner = np.zeros(count, np.int32)
    owner[piece_of] = np.arange(1, len(seeds) + 1)
    fresh = np.flatnonzero(held == 0)
    owner[held != 1] = 0
    owner[fresh] = len(seeds) + 1 + np.arange(len(fresh))
    new = np.where(labels > 0, labels, owner[pieces])
    seeds = np.concatenate([seeds, _first_places(pieces, fresh, count)])
    rows, columns = np.nonzero((held > 1)[pieces] & (labels == 0))
    if not len(rows):
        return new, seeds
    # Several cells meet in these pieces: each pixel goes to the nearest, unless a wall lies between.
    owner, which, _ = _nearest(labels)
    nearest = owner[which[rows, columns]]
    reached = np.append(-1, piece_of)[nearest] == pieces[rows, columns]
    new[rows[reached], columns[reached]] = nearest[reached]
    left = np.zeros(free.shape, np.uint8)
    left[rows[~reached], columns[~reached]] = 1
    count, pieces = cv2.connectedComponents(left, connectivity=4, ltype=cv2.CV_32S)
    new[left > 0] = pieces[left > 0] + len(seeds)
    return new, np.concatenate([seeds, _first_places(pieces, np.arange(1, count), count)])


def _first_places(pieces: Labels, asked: npt.NDArray[np.int64], count: int) -> npt.NDArray[np.int64]:
    """A pixel of each piece asked for, of ``count``, as a place in the flattened page."""
    if not len(asked):
        return np.zeros(0, np.int64)
    flat = pieces.ravel()
    wanted = np.zeros(count, bool)
    wanted[asked] = True
    first = np.zeros(count, np.int64)
    places = np.flatnonzero(wanted[flat])[::-1]
    first[flat[places]] = places
    return first[asked]


def spread(labels: Labels) -> tuple[Labels, Float32Array]:
    """Every pixel given to its nearest cell, and how far (h, w) that is."""
    owner, which, away = _nearest(labels)
    return np.asarray(owner[which], dtype=np.int32), away


def _nearest(labels: Labels) -> tuple[Labels, Labels, Float32Array]:
    """The cell of each pixel of a cell, which of them is nearest to every pixel (h, w), and how far it is."""
    away, which = cv2.distanceTransformWithLabels(
        (labels == 0).astype(np.uint8), cv2.DIST_L2, 3, labelType=cv2.DIST_LABEL_PIXEL
    )
    inside = np.flatnonzero(labels > 0)
    own = which.ravel()[inside]
    owner = np.zeros(int(own.max(initial=0)) + 1, np.int32)
    owner[own] = labels.ravel()[inside]
    return owner, which, away
