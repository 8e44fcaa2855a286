"""Areas of a page's map as outlines: what a click on a page takes."""

from __future__ import annotations

import cv2
import numpy as np

from guides.core.outlines import MOST_POINTS, to_text
from guides.core.page_maps import map_of
from guides.models import Guide

NEAR = (0, 2, 4, 8, 16)
"""Pixels of the map's grid around a place in which its area is looked for: it may lie on a line."""
STRAIGHT = (1.0, 2.0, 4.0, 8.0)
"""Pixels of the grid that an outline may lie off; the next where the one before leaves it too many corners."""
LEAST_HOLE = 0.0005
"""Of the page: a smaller hole in an area is an eye or a letter, and no place where a code stands."""


def outline_at(guide: Guide, x: str | None, y: str | None) -> str:
    """The outline of the area at a place of the page, as a form takes it; empty where there is none, or no picture.

    Args:
        x, y: fractions of the page from top left, as an address has them.
    """
    try:
        place = float(x or ""), float(y or "")
        labels = map_of(guide).labels
    except (ValueError, OSError):
        return ""
    if not all(0 <= value <= 1 for value in place):
        return ""
    height, width = labels.shape
    column, row = min(int(place[0] * width), width - 1), min(int(place[1] * height), height - 1)
    for near in NEAR:
        here = labels[max(row - near, 0) : row + near + 1, max(column - near, 0) : column + near + 1]
        areas, sizes = np.unique(here[here > 0], return_counts=True)
        if len(areas):
            return _outlined((labels == areas[sizes.argmax()]).astype(np.uint8))
    return ""


def _outlined(own: np.ndarray) -> str:
    height, width = own.shape
    contours, _ = cv2.findContours(own, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
    large = [ring for ring in contours if cv2.contourArea(ring) >= LEAST_HOLE * width * height]
    rings = large or [max(contours, key=cv2.contourArea)]
    for off in STRAIGHT:
        drawn = [cv2.approxPolyDP(ring, off, True)[:, 0].astype(np.float64) + 0.5 for ring in rings]
        drawn = [ring / (width, height) for ring in drawn if len(ring) > 2]
        if sum(map(len, drawn)) <= MOST_POINTS:
            break
    return to_text([ring.tolist() for ring in drawn])
