"""What lies around a written code, as the network that follows its line is shown it: a square of the page about its
box, brought to one height of letters, with the box and those of other codes drawn beside the picture."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
Floats = npt.NDArray[np.float32]
Image = npt.NDArray[np.uint8]

SIDE = 160
"""Pixels of a view's side."""

CELL = 2
"""Pixels of a view for each of which the network says how likely it is what the code means."""

CELLS = SIDE // CELL

NEAR, FAR = 10.0, 5.0
"""Pixels of a view that a code is high: eight of its heights are seen around it, or sixteen where a line goes on."""

CHANNELS = 5
"""Red, green, blue, the code's own box, the boxes of others."""


@dataclass(frozen=True, eq=False)
class View:
    """``picture`` (CHANNELS, SIDE, SIDE) uint8; its left top corner and the size of one of its pixels in pixels of
    the page."""

    picture: Image
    left: float
    top: float
    step: float

    def cells(self) -> tuple[FloatArray, FloatArray]:
        """x of the columns and y of the rows of its cells (CELLS,), pixels of the page."""
        middles = (np.arange(CELLS, dtype=np.float64) + 0.5) * (CELL * self.step)
        return np.asarray(self.left + middles, np.float64), np.asarray(self.top + middles, np.float64)


def height_of(box: FloatArray) -> float:
    """Height of a turned box with corners left top, right top, right bottom, left bottom (4, 2); 1 at least."""
    return max(1.0, float(np.hypot(*(box[3] - box[0]))))


def view_of(image: Image, boxes: Sequence[FloatArray], number: int, high: float = NEAR) -> View:
    """The view of one of a page's codes.

    Args:
        image: the page (h, w, 3) uint8 sRGB.
        boxes: turned boxes (4, 2) of all codes, pixels of the page.
        number: of them, the code that is asked about.
        high: pixels of the view that its height becomes.
    """
    box = boxes[number]
    side = max(2, round(SIDE * height_of(box) / high))
    left, top = (int(v) for v in np.round(box.mean(axis=0) - side / 2))
    step = side / SIDE
    picture = np.zeros((CHANNELS, SIDE, SIDE), np.uint8)
    picture[:3] = cv2.resize(_cut(image, left, top, side), (SIDE, SIDE), interpolation=_way(step)).transpose(2, 0, 1)
    placed = (np.stack(boxes) - (left, top)) / step
    seen = (placed.max(axis=1) > 0).all(axis=1) & (placed.min(axis=1) < SIDE).all(axis=1)
    for other in np.flatnonzero(seen).tolist():
        plane = picture[3 if other == number else 4]
        cv2.fillPoly(plane, [np.round((placed[other] - 0.5) * 16).astype(np.int32)], 255, cv2.LINE_8, 4)
    return View(picture, left, top, step)


def batch_of(views: Sequence[View]) -> Floats:
    """Views as the network takes them: (n, CHANNELS, SIDE, SIDE), colours about -2 to 2, boxes 0 or 1."""
    stacked = np.stack([view.picture for view in views]).astype(np.float32)
    stacked[:, :3] = (stacked[:, :3] - 128) / 64
    stacked[:, 3:] /= 255
    return stacked


def _way(step: float) -> int:
    return cv2.INTER_AREA if step > 1 else cv2.INTER_LINEAR


def _cut(image: Image, left: int, top: int, side: int) -> Image:
    """A square of a page; beyond its edges they are drawn out."""
    height, width = image.shape[:2]
    x0, y0 = min(max(left, 0), width - 1), min(max(top, 0), height - 1)
    x1, y1 = max(min(left + side, width), x0 + 1), max(min(top + side, height), y0 + 1)
    return cv2.copyMakeBorder(
        image[y0:y1, x0:x1], max(y0 - top, 0), max(top + side - y1, 0), max(x0 - left, 0), max(left + side - x1, 0),
        cv2.BORDER_REPLICATE,
    )[:side, :side]  # fmt: skip
