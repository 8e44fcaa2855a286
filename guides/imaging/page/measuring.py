"""The paint of each area: what it is like without lines, writing and stray pixels, and how it varies."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
import numpy.typing as npt

from guides.imaging.page.cells import counted, enough, largest
from guides.imaging.page.filling import Labels
from guides.imaging.page.page_map import PageArea, area_of
from guides.imaging.page.scaling import BoolArray, Float32Array

FloatArray = npt.NDArray[np.float64]

TRIMMED = (2.2, 2.0)
"""Standard deviations beyond which pixels are left out of an area's paint, one pass after another."""

PAPER_AWAY, PAPER_WIDTH = 9.0, 1.6
"""CIE76 distance from the bare paper at which paint and paper are equally likely, and how fast that changes: uneven
light and yellowed edges stay within 6, the palest paint of a chart begins at 14."""


def measured_areas(
    labels: Labels, core: BoolArray, lab: Float32Array, depth: Float32Array, scale: float, mm: float | None
) -> tuple[PageArea, ...]:
    """Areas of a labelled page at working scale.

    Args:
        labels: (h, w), from 1 without holes in the numbering.
        core: pixels (h, w) that show an area's paint.
        lab: CIELAB (h, w, 3) with the paper white; depth: density (h, w, 3) relative to it.
        scale: working pixels per pixel of the picture; mm: millimetres per pixel of the picture.
    """
    number = int(labels.max()) + 1
    size = counted(labels.ravel(), None, number)
    core = core & (labels > 0)
    bare = np.bincount(labels[core], minlength=number) == 0
    if bare[1:].any():
        core = core | bare[labels] & (labels > 0)
    core = core & enough(labels, size)
    places = np.flatnonzero(core)
    inside = labels.ravel()[places]
    values = [np.ascontiguousarray(plane) for of in (lab, depth) for plane in of.reshape(-1, 3)[places].T]
    mean, cov = _trimmed(inside, values, number)
    white = np.array([100.0 * 0.87 ** (1 / 3), 0.0, 0.0])
    away = np.linalg.norm(mean[:, :3] - white, axis=1)
    p_paper = 1.0 / (1.0 + np.exp(np.clip((away - PAPER_AWAY) / PAPER_WIDTH, -50, 50)))
    radius = _radii(labels, number)
    boxes = _boxes(labels, number)
    areas = []
    for at in range(1, number):
        left, top, right, bottom = boxes[at]
        box = (int(left / scale), int(top / scale), int(np.ceil(right / scale)), int(np.ceil(bottom / scale)))
        colours = np.concatenate([mean[at], cov[at].ravel(), [p_paper[at]]])
        areas.append(area_of(at, box, max(1, round(size[at] / scale**2)), colours, float(radius[at]) / scale, mm))
    return tuple(areas)


def _trimmed(
    inside: npt.NDArray[np.int32], values: Sequence[Float32Array], number: int
) -> tuple[FloatArray, FloatArray]:
    """Trimmed means (n, 6) of lab and density, given plane by plane, and the covariance (n, 3, 3) of density."""

    def mean_of(which: npt.NDArray[np.int32], what: Sequence[Float32Array]) -> FloatArray:
        count = np.maximum(np.bincount(which, minlength=number), 1)
        return np.stack([np.bincount(which, plane, minlength=number) / count for plane in what], axis=1)

    which, kept = inside, list(values)
    for limit in TRIMMED:
        mean = mean_of(which, kept[:3])
        squares = mean_of(which, [plane**2 for plane in kept[:3]])
        spread = np.sqrt(np.maximum(squares - mean**2, 0)).astype(np.float32)
        good = np.ones(len(which), bool)
        for plane, middle, far in zip(kept, mean.T.astype(np.float32), spread.T, strict=False):
            good &= np.abs(plane - middle[which]) <= (limit * far + 0.5)[which]
        chosen = np.flatnonzero(good)
        which, kept = which[chosen], [plane[chosen] for plane in kept]
    mean = mean_of(which, kept)
    away = [plane - middle[which] for plane, middle in zip(kept[3:], mean.T[3:].astype(np.float32), strict=True)]
    count = np.maximum(np.bincount(which, minlength=number), 1)
    cov = np.zeros((number, 3, 3))
    for row in range(3):
        for column in range(row, 3):
            cov[:, row, column] = np.bincount(which, away[row] * away[column], minlength=number) / count
            cov[:, column, row] = cov[:, row, column]
    return mean, cov


def _radii(labels: Labels, number: int) -> FloatArray:
    """The largest circle (n,) in each area, working pixels."""
    edge = np.zeros(labels.shape, np.uint8)
    edge[:, 1:] |= labels[:, 1:] != labels[:, :-1]
    edge[1:] |= labels[1:] != labels[:-1]
    edge |= labels == 0
    room = cv2.distanceTransform(np.pad(1 - edge, 1), cv2.DIST_L2, cv2.DIST_MASK_PRECISE)[1:-1, 1:-1]
    return np.maximum(largest(labels, room, number), 0.5)


def _boxes(labels: Labels, number: int) -> npt.NDArray[np.int64]:
    """Left, top, right and bottom (n, 4) of each area in working pixels, half open."""
    from scipy.ndimage import find_objects

    boxes = np.zeros((number, 4), np.int64)
    for at, bounds in enumerate(find_objects(labels), start=1):
        if bounds is not None:
            boxes[at] = bounds[1].start, bounds[0].start, bounds[1].stop, bounds[0].stop
    return boxes
