"""Which panel each area of a page lies in: what the gutters and the page's edge hold apart."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from guides.imaging.page.page_map import PageArea, PageMap

THUMB = 480
"""Longer side of the picture the panels are found in: a gutter is still some pixels wide there."""

LEAK = 5
"""Side of the square that gutters are widened with, so that a balloon's tail or a spill joins no two panels."""

SMALLEST = 0.012
"""Share of the page below which what the gutters enclose is no panel but a caption, a dab or a balloon."""

EDGE = 0.06
"""Share of its own border with the page's edge from which bare paper is the page's own."""


REACHES, FILLS = 0.8, 0.6
"""Shares of the page's width and height that its margins and gutters reach over, and of that box which they fill."""


@dataclass(frozen=True)
class PagePanels:
    """Panels of a page.

    Attributes:
        boxes: (k, 4) x0, y0, x1, y1 in pixels of the picture, at least one.
        of_area: (areas + 1,) the panel of each area by its id, from 0; areas in a gutter have the nearest panel's.
    """

    boxes: npt.NDArray[np.float64]
    of_area: npt.NDArray[np.intp]
    labels: npt.NDArray[np.int32]
    step: float

    def at(self, x: float, y: float) -> int:
        """The panel at a place in pixels of the picture, the nearest outside of any."""
        row = min(max(int(y / self.step), 0), self.labels.shape[0] - 1)
        column = min(max(int(x / self.step), 0), self.labels.shape[1] - 1)
        here = int(self.labels[row, column])
        if here:
            return here - 1
        away = np.maximum(self.boxes[:, :2] - (x, y), 0) + np.maximum((x, y) - self.boxes[:, 2:], 0)
        return int(np.hypot(away[:, 0], away[:, 1]).argmin())


def find_panels(page: PageMap) -> PagePanels:
    """The panels of a page; one as large as the page where no gutter is found."""
    high, wide = page.labels.shape
    shrink = min(1.0, THUMB / max(high, wide))
    size = (max(1, round(wide * shrink)), max(1, round(high * shrink)))
    small = cv2.resize(page.labels.astype(np.float32), size, interpolation=cv2.INTER_NEAREST).astype(np.int32)
    outer = _outer(page, small)
    inside = cv2.erode((~outer).astype(np.uint8), np.ones((LEAK, LEAK), np.uint8))
    count, pieces, stats, _ = cv2.connectedComponentsWithStats(inside, connectivity=4)
    kept = [k for k in range(1, count) if stats[k, cv2.CC_STAT_AREA] >= SMALLEST * inside.size]
    step = page.size[0] / size[0]
    if not kept:
        whole = np.array([[0.0, 0.0, *page.size]])
        return PagePanels(whole, np.zeros(len(page.areas) + 1, np.intp), np.ones_like(small), step)
    numbers = np.zeros(count, np.int32)
    numbers[kept] = np.arange(1, len(kept) + 1)
    labels = _grown(numbers[pieces], ~outer)
    boxes = np.array([stats[k, [0, 1, 0, 1]] + [0, 0, *stats[k, [2, 3]]] for k in kept], float) * step
    return PagePanels(boxes, _of_areas(page, small, labels, boxes), labels, step)


def _outer(page: PageMap, small: npt.NDArray[np.int32]) -> npt.NDArray[np.bool_]:
    """Where the page's own paper is: what no area holds, and bare areas that reach the edge or surround panels."""
    bare = np.array([False, *(area.is_paper for area in page.areas)])
    high, wide = small.shape
    edge = np.concatenate([small[:3].ravel(), small[-3:].ravel(), small[:, :3].ravel(), small[:, -3:].ravel()])
    touching = np.bincount(edge, minlength=len(bare)) >= EDGE * (high + wide)
    broad = np.array([False, *(surrounds(page, area) for area in page.areas)])
    own = bare & (touching | broad)
    own[0] = False
    if not own.any():
        # A scan cut at its panels, or shown on a desk: what touches the edge most may still be its margin.
        own = bare & touching
    return np.asarray(own[small], dtype=bool)


def surrounds(page: PageMap, area: PageArea) -> bool:
    """Whether an area reaches over most of the page and fills little of it: a margin with its gutters."""
    wide, high = (area.box[2] - area.box[0]) / page.size[0], (area.box[3] - area.box[1]) / page.size[1]
    return wide > REACHES and high > REACHES and area.pixels < FILLS * wide * high * page.size[0] * page.size[1]


def _grown(labels: npt.NDArray[np.int32], free: npt.NDArray[np.bool_]) -> npt.NDArray[np.int32]:
    """Panels widened by what finding them took away, into free places only."""
    grown = labels.copy()
    square = np.ones((3, 3), np.uint8)
    for _ in range(LEAK // 2 + 1):
        wider = cv2.dilate(grown.astype(np.float32), square).astype(np.int32)
        grown = np.where((grown == 0) & free, wider, grown)
    return grown


def _of_areas(
    page: PageMap, small: npt.NDArray[np.int32], labels: npt.NDArray[np.int32], boxes: npt.NDArray[np.float64]
) -> npt.NDArray[np.intp]:
    counts = np.zeros((len(page.areas) + 1, len(boxes) + 1))
    np.add.at(counts, (small.ravel(), labels.ravel()), 1)
    panel = counts[:, 1:].argmax(axis=1)
    middles = np.array([[0.0, 0.0], *((np.add(a.box[:2], a.box[2:]) / 2).tolist() for a in page.areas)])
    away = np.maximum(boxes[None, :, :2] - middles[:, None], 0) + np.maximum(middles[:, None] - boxes[None, :, 2:], 0)
    nearest = np.hypot(away[..., 0], away[..., 1]).argmin(axis=1)
    return np.where(counts[:, 1:].sum(axis=1) > 0, panel, nearest).astype(np.intp)
