"""Pieces of a page turned upright and brought to one height: what the reader is shown."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

Picture = npt.NDArray[np.uint8]

HEIGHT = 32
"""Height of a crop in pixels."""

LETTERS = 22
"""Height of the writing's box within a crop: the rest is room for what the box has cut."""

MARGIN = 6
"""Room left and right in a crop, pixels."""

WIDEST = 256
"""Longer writing is squeezed to this width: a code of four percentages has some 180 pixels."""


@dataclass(frozen=True, slots=True)
class Place:
    """A box of writing on a page: its middle in pixels, its size along its own axes, and its turn in radians
    (clockwise as seen, 0 for level writing)."""

    x: float
    y: float
    wide: float
    high: float
    turn: float

    def corners(self) -> npt.NDArray[np.float64]:
        """Left top, right top, right bottom, left bottom as (4, 2) pixels."""
        run = np.array([np.cos(self.turn), np.sin(self.turn)]) * self.wide / 2
        down = np.array([-np.sin(self.turn), np.cos(self.turn)]) * self.high / 2
        return np.array([self.x, self.y]) + np.array([-run - down, run - down, run + down, down - run])

    def bounds(self) -> tuple[float, float, float, float]:
        """The level box round it: left, top, right, bottom in pixels."""
        corners = self.corners()
        return (*corners.min(axis=0).tolist(), *corners.max(axis=0).tolist())

    def scaled(self, factor: float) -> Place:
        """The same place on a picture ``factor`` times as large."""
        return Place(self.x * factor, self.y * factor, self.wide * factor, self.high * factor, self.turn)


def scales(place: Place) -> tuple[int, float, float]:
    """Width of the crop of a place in pixels, and how much it is enlarged along the writing and across it."""
    scale = LETTERS / max(place.high, 2.0)
    width = int(np.clip(round(place.wide * scale) + 2 * MARGIN, 16, WIDEST))
    return width, (width - 2 * MARGIN) / max(place.wide, 2.0), scale


def part_of(place: Place, start: float, end: float) -> Place:
    """The piece of a place between two pixels of its crop's width."""
    width, along, _ = scales(place)
    middle = ((start + end) / 2 - width / 2) / along
    x, y = place.x + np.cos(place.turn) * middle, place.y + np.sin(place.turn) * middle
    return Place(float(x), float(y), max(end - start, 4.0) / along, place.high, place.turn)


def upright(page: Picture, place: Place, *, upside_down: bool = False) -> Picture:
    """The writing at ``place`` as (32, w, 3), w between 16 and 256; what lies off the page repeats its edge."""
    width, across, scale = scales(place)
    page, place, shrunk = _nearby(page, place, min(scale, across))
    scale, across = scale / shrunk, across / shrunk
    turn = place.turn + (np.pi if upside_down else 0.0)
    cos, sin = np.cos(turn), np.sin(turn)
    to_page = np.array(
        [
            [cos / across, -sin / scale, place.x - cos * width / 2 / across + sin * HEIGHT / 2 / scale],
            [sin / across, cos / scale, place.y - sin * width / 2 / across - cos * HEIGHT / 2 / scale],
        ]
    )
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    cut = cv2.warpAffine(page, to_page, (width, HEIGHT), flags=flags, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(cut, np.uint8)


def _nearby(page: Picture, place: Place, scale: float) -> tuple[Picture, Place, float]:
    """The page around a place, shrunk by areas where the crop will be much smaller: no aliasing."""
    if scale > 0.7:
        return page, place, 1.0
    left, top, right, bottom = place.bounds()
    room = place.high
    x0, y0 = max(int(left - room), 0), max(int(top - room), 0)
    x1, y1 = min(int(right + room) + 1, page.shape[1]), min(int(bottom + room) + 1, page.shape[0])
    if x1 - x0 < 4 or y1 - y0 < 4:
        return page, place, 1.0
    shrunk = scale * 1.25
    size = (max(2, round((x1 - x0) * shrunk)), max(2, round((y1 - y0) * shrunk)))
    small = cv2.resize(page[y0:y1, x0:x1], size, interpolation=cv2.INTER_AREA)
    moved = Place(place.x - x0, place.y - y0, place.wide, place.high, place.turn).scaled(shrunk)
    return np.asarray(small, np.uint8), moved, shrunk
