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
Places = npt.NDArray[np.int64]
"""Pixels by their places in the flattened page."""

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


def _rolled(free: BoolArray, labels: Labels, seeds: Places) -> tuple[Labels, Places]:
    """One smaller ball: extends the cells it touches, and makes new ones where there are none; ``seeds`` (n,) is a
    pixel of each cell."""
    count, pieces = cv2.connectedComponents(free.astype(np.uint8), connectivity=4, ltype=cv2.CV_32S)
    piece_of = pieces.ravel()[seeds]
    held = np.bincount(piece_of, minlength=count)
    owner = np.zeros(count, np.int32)
    owner[piece_of] = np.arange(1, len(seeds) + 1)
    fresh = np.flatnonzero(held[1:] == 0) + 1
    owner[held > 1] = 0
    owner[fresh] = len(seeds) + 1 + np.arange(len(fresh))
    places = np.flatnonzero(free & (labels == 0))  # what this ball adds: little of the page
    piece = pieces.ravel()[places]
    new = labels.copy()
    new.ravel()[places] = owner[piece]
    seeds = np.concatenate([seeds, _first_places(places, piece, fresh, count)])
    disputed = held[piece] > 1
    if disputed.any():
        return _shared_out(new, labels, places[disputed], piece[disputed], piece_of, seeds)
    return new, seeds


def _shared_out(
    new: Labels, labels: Labels, places: Places, piece: Labels, piece_of: Labels, seeds: Places
) -> tuple[Labels, Places]:
    """Places in pieces where several cells meet: each goes to the nearest, unless a wall lies between."""
    owner, which, _ = _nearest(labels)
    nearest = owner[which.ravel()[places]]
    reached = np.append(-1, piece_of)[nearest] == piece
    new.ravel()[places[reached]] = nearest[reached]
    if reached.all():
        return new, seeds
    left = np.zeros(labels.shape, np.uint8)
    left.ravel()[places[~reached]] = 1
    count, pieces = cv2.connectedComponents(left, connectivity=4, ltype=cv2.CV_32S)
    places = places[~reached]
    piece = pieces.ravel()[places]
    new.ravel()[places] = piece + len(seeds)
    return new, np.concatenate([seeds, _first_places(places, piece, np.arange(1, count), count)])


def _first_places(places: Places, piece: Labels, asked: Places, count: int) -> Places:
    """The first of the places that lies in each piece asked for, of ``count``; ``piece`` is each place's own."""
    first = np.zeros(count, np.int64)
    first[piece[::-1]] = places[::-1]
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
    return np.append(np.int32(0), labels[labels > 0]), which, away  # OpenCV numbers them from the left top
