"""The outlines of a page's areas, as compact as a browser can draw them."""

from __future__ import annotations

import json

import cv2
import numpy as np
import numpy.typing as npt

from guides.imaging.page.page_map import PageArea, PageMap

STRAIGHT = 0.7
"""Working pixels that an outline may lie off: less than a line is wide."""


def outlines(page: PageMap) -> bytes:
    """JSON for a browser: ``width`` and ``height`` of the grid in which outlines are drawn, and of every ``area`` its
    ``id``, ``box`` (left, top, right, bottom) and ``d``, an SVG path in that grid that is filled by the even-odd
    rule; ``paper`` where it is bare."""
    height, width = page.labels.shape
    areas = [_outlined(page, area) for area in page.areas]
    return json.dumps({"width": width, "height": height, "areas": areas}, separators=(",", ":")).encode()


def _outlined(page: PageMap, area: PageArea) -> dict[str, object]:
    left, top, right, bottom = (int(value * page.scale) for value in area.box)
    left, top, right, bottom = max(left - 1, 0), max(top - 1, 0), right + 2, bottom + 2
    own = (page.labels[top:bottom, left:right] == area.id).astype(np.uint8)
    contours, _ = cv2.findContours(own, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
    rings = [cv2.approxPolyDP(ring, STRAIGHT, True)[:, 0] + np.array([left, top]) for ring in contours]
    about: dict[str, object] = {"id": area.id, "box": [left, top, min(right, page.labels.shape[1]), bottom]}
    about["d"] = "".join(_path(ring) for ring in rings if len(ring) > 2)
    if area.is_paper:
        about["paper"] = True
    return about


def _path(ring: npt.NDArray[np.int32]) -> str:
    """A closed path of relative steps, which are short numbers."""
    steps = np.diff(ring, axis=0)
    moves = " ".join(f"{x} {y}" for x, y in steps.tolist())
    return f"M{ring[0, 0]} {ring[0, 1]}l{moves}z"
