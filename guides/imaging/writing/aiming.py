"""Where a code's line leads, or which area it stands for, as a network sees it in the picture around the code."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from guides.imaging.page.page_map import PageMap
from guides.imaging.writing.models import run
from guides.imaging.writing.sights import CELL, FAR, NEAR, FloatArray, Image, View, batch_of, view_of

Labels = npt.NDArray[np.int32]

LOOKS_ON = 0.1
"""Chance of lying beyond its view from which a code is looked at once more, with more around it."""

AT_ONCE = 8
"""Views given to the network at a time: more only take memory."""

LEAST = 0.002
"""Chances below this name no area."""


@dataclass(frozen=True)
class Aimed:
    """What one code may mean: the chance of each area by its id, the likeliest place in each in pixels of the page,
    and the chance that it lies farther away than was looked."""

    chances: dict[int, float]
    places: dict[int, tuple[float, float]]
    beyond: float


def aim(net: Any, page: PageMap, image: Image, boxes: Sequence[FloatArray]) -> list[Aimed]:
    """What each code of a page may mean, whose turned box has corners (4, 2) in pixels of the picture."""
    if not boxes:
        return []
    labels = filled(page.labels)
    near = [view_of(image, boxes, number, NEAR) for number in range(len(boxes))]
    near_chances = _said(net, near)
    again = [number for number, (_, beyond) in enumerate(near_chances) if beyond > LOOKS_ON]
    far = {number: view_of(image, boxes, number, FAR) for number in again}
    far_chances = dict(zip(again, _said(net, list(far.values())), strict=True))
    aimed = []
    for number, (view, (cells, beyond)) in enumerate(zip(near, near_chances, strict=True)):
        layers = [(view, cells)]
        if number in far_chances:
            wide, left = _outside(far[number], view, *far_chances[number])
            layers.append((far[number], wide * beyond))
            beyond *= left
        aimed.append(_by_area(page, image, labels, layers, beyond))
    return aimed


def filled(labels: Labels) -> Labels:
    """Labels (h, w) with every pixel of none given to the area nearest to it."""
    if not labels.any() or labels.all():
        return labels
    _, nearest = cv2.distanceTransformWithLabels(
        (labels == 0).astype(np.uint8), cv2.DIST_L2, 3, labelType=cv2.DIST_LABEL_PIXEL
    )
    area = np.zeros(int(nearest.max()) + 1, np.int32)
    on = labels > 0
    area[nearest[on]] = labels[on]
    return np.asarray(area[nearest], np.int32)


def _said(net: Any, views: Sequence[View]) -> list[tuple[FloatArray, float]]:
    """Chances of the cells of each view and of what lies beyond it."""
    chances = []
    for first in range(0, len(views), AT_ONCE):
        for each in run(net, batch_of(views[first : first + AT_ONCE])):
            cells, beyond = each[0].astype(np.float64), float(each[1].mean())
            top = max(float(cells.max()), beyond)
            cells, rest = np.exp(cells - top), float(np.exp(beyond - top))
            total = float(cells.sum()) + rest
            chances.append((cells / total, rest / total))
    return chances


def _outside(wide: View, near: View, cells: FloatArray, beyond: float) -> tuple[FloatArray, float]:
    """Chances in a wider view once it is known that the nearer one holds nothing."""
    x, y = wide.cells()
    right, bottom = (corner + near.picture.shape[1] * near.step for corner in (near.left, near.top))
    seen = ((y > near.top) & (y < bottom))[:, None] & ((x > near.left) & (x < right))
    cells = np.where(seen, 0.0, cells)
    total = max(float(cells.sum()) + beyond, 1e-9)
    return cells / total, beyond / total


def _by_area(
    page: PageMap, image: Image, labels: Labels, layers: Sequence[tuple[View, FloatArray]], beyond: float
) -> Aimed:
    chances: dict[int, float] = {}
    places: dict[int, tuple[float, float, float]] = {}
    for view, cells in layers:
        x, y = view.cells()
        rows, columns = (y * page.scale).astype(int), (x * page.scale).astype(int)
        on = ((y >= 0) & (rows < labels.shape[0]))[:, None] & ((x >= 0) & (columns < labels.shape[1]))
        rows, columns = np.clip(rows, 0, labels.shape[0] - 1), np.clip(columns, 0, labels.shape[1] - 1)
        area = np.where(on, labels[rows[:, None], columns], 0)
        sums = np.bincount(area.ravel(), cells.ravel())
        per_pixel = cv2.GaussianBlur(cells, (0, 0), 1.0) / (CELL * view.step) ** 2
        for area_id in np.flatnonzero(sums >= LEAST).tolist():
            if area_id == 0:
                continue
            chances[area_id] = chances.get(area_id, 0.0) + float(sums[area_id])
            best = int(np.where(area == area_id, per_pixel, -1.0).argmax())
            row, column = divmod(best, cells.shape[1])
            if per_pixel[row, column] > places.get(area_id, (0.0, 0.0, -1.0))[2]:
                places[area_id] = (float(x[column]), float(y[row]), float(per_pixel[row, column]))
    return Aimed(chances, {area_id: (at[0], at[1]) for area_id, at in places.items()}, beyond)
