"""A mark's area on the guide from the page's map, cut to a window: what a proof is read over."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from guides.imaging.page.page_map import PageArea, PageMap

FloatArray = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]
Box = tuple[int, int, int, int]

ONE_PAINT = 22.0
"""CIELAB distance from its commonest paint within which the area is read: streaks and pooled edges stay within, a
second paint that the map has joined to it does not."""

MOST_OF_IT = 0.4
"""Share of an area that must be of that paint; where less is, the area is all streaks and is read whole."""


def area_at(page: PageMap, at: tuple[float, float], size: tuple[int, int]) -> PageArea | None:
    """The area at a place in px of a guide of (width, height) px, whose middles are whole numbers."""
    return page.area_at((at[0] + 0.5) * page.size[0] / size[0], (at[1] + 0.5) * page.size[1] / size[1])


def area_in(
    page: PageMap, lab: npt.NDArray[np.float32], box: Box, at: tuple[float, float], size: tuple[int, int],
    paint: npt.NDArray[np.float32], close: int,
) -> tuple[Mask, npt.NDArray[np.uint8], Mask] | None:  # fmt: skip
    """Where in a window of the guide the area at a place is, the same with its strokes and hatching filled in, and
    where all ink is.

    Args:
        lab: CIELAB (h, w, 3) of the window; box: left, top, right, bottom of it in guide px.
        at: the place, guide px; size: width and height of the guide.
        paint: (3,) the commonest colour around the place.
        close: side in px of the disc that closes strokes.

    None where the map has no area there, or one of another paint than lies around the place.
    """
    area = area_at(page, at, size)
    if area is None:
        return None
    left, top, right, bottom = box
    height, width = page.labels.shape
    columns = np.minimum(((np.arange(left, right) + 0.5) * (width / size[0])).astype(int), width - 1)
    rows = np.minimum(((np.arange(top, bottom) + 0.5) * (height / size[1])).astype(int), height - 1)
    here = np.ix_(rows, columns)
    own = (page.labels[here] == area.id) & ~page.line[here]
    if not own.any():
        return None
    off = np.linalg.norm(lab - paint, axis=2)
    like = own & (off < ONE_PAINT)
    if like.sum() < MOST_OF_IT * own.sum():
        if float(np.linalg.norm(np.median(lab[own], axis=0) - paint)) > ONE_PAINT:
            return None
        like = own
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (close, close))
    filled = cv2.morphologyEx(like.astype(np.uint8), cv2.MORPH_CLOSE, kernel)
    return (
        like,
        np.asarray(filled & (page.labels[here] == area.id), dtype=np.uint8),
        page.line[here] | page.writing[here],
    )
