"""The areas that marks stand for, taken from the page's map: whole areas, under lines and writing.

One mark codes one area. Areas without a mark follow the mark whose paint they carry, since a code is often told once
a page (common practice, no source); what no mark covers is shown as such.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from bible.colour.colorimetry import encode_srgb
from guides.imaging.page.page_map import PageArea, PageMap
from guides.imaging.page.reading import read_page_map
from guides.imaging.page.scaling import brightest

FloatArray = npt.NDArray[np.float64]
Float32Array = npt.NDArray[np.float32]
Image = npt.NDArray[np.uint8]
Labels = npt.NDArray[np.int32]
Mask = npt.NDArray[np.bool_]

FOLLOWS = 13.0
"""CIE76 distance within which an area without a mark is taken for a marked paint."""


@dataclass(frozen=True, eq=False)
class Regions:
    """Areas of the marks on a page of (h, w) pixels.

    Attributes:
        labels: (h, w), 0 where no mark's area is, else the mark's index + 1.
        own: the same without areas that only follow a mark's paint; an area with several marks is the first one's.
        line: (h, w) float32, how much of a pixel line art covers, 0-1.
        paint: (n, 3) uint8, each mark's paint.
        area: (n,) pixels of its own area, without what follows it; 0 where a mark is off the page.
        unmarked: (h, w), painted and in no mark's area.
    """

    labels: Labels
    own: Labels
    line: Float32Array
    paint: Image
    area: npt.NDArray[np.int64]
    unmarked: Mask


def grow(image: Image, points: npt.ArrayLike, follow: bool = True, page: PageMap | None = None) -> Regions:
    """Find the area of each mark.

    Args:
        image: the painted page, uint8 sRGB (h, w, 3).
        points: (n, 2), x and y of the marks in its pixels; those off the page get no area.
        follow: give areas without a mark to the mark whose paint they carry.
        page: the map kept with this page; without one it is made.

    Raises:
        ValueError: not such an image or points.
    """
    if image.ndim != 3 or image.shape[2] != 3 or image.dtype != np.uint8 or not image.size:
        raise ValueError(f"a page is an array (h, w, 3) of uint8, not {image.shape} of {image.dtype}")
    places = np.asarray(points, dtype=np.float64).reshape(-1, 2)
    page = page or read_page_map(image)
    size = (image.shape[1], image.shape[0])
    across = np.array(page.size) / np.array(size)  # the map may be of the scan, the image its smaller likeness
    area_of = [page.area_at(*place) for place in places * across]
    owner = np.zeros(len(page.areas) + 1, np.int32)
    for index, area in enumerate(area_of):
        if area is not None and not owner[area.id]:
            owner[area.id] = index + 1
    own = owner[page.labels]
    ids = [0 if area is None else area.id for area in area_of]
    marked = np.array([0 if area is None else area.pixels for area in area_of], np.int64)
    following = _following(page, owner) if follow else owner
    labels = _shared(page, places * across, ids, following[page.labels])
    painted = np.array([False] + [not area.is_paper for area in page.areas])
    unmarked = (painted[page.labels] & (labels == 0) & ~page.line).astype(np.uint8)
    paint = np.array([_shown(page, place, area) for place, area in zip(places * across, area_of, strict=True)])
    paint = paint.reshape(-1, 3).astype(np.uint8)
    labels, own, unmarked = (
        np.asarray(cv2.resize(plane, size, interpolation=cv2.INTER_NEAREST_EXACT))
        for plane in (labels.astype(np.int32), own.astype(np.int32), unmarked)
    )
    line = _line(image, brightest(image), labels, paint)
    return Regions(labels, own, line, paint, marked, unmarked > 0)


def _shared(page: PageMap, places: FloatArray, ids: list[int], labels: Labels) -> Labels:
    """Areas in which several marks stand are divided among them, each pixel to the nearest: no border of theirs."""
    held = np.bincount(np.array(ids, np.int64), minlength=len(page.areas) + 1)
    for area in np.flatnonzero(held[1:] > 1) + 1:
        rows, columns = _pixels_of(page, int(area))
        marks = [index for index, at in enumerate(ids) if at == area]
        away = [
            (columns - places[index, 0] * page.scale) ** 2 + (rows - places[index, 1] * page.scale) ** 2
            for index in marks
        ]
        labels[rows, columns] = np.array(marks)[np.argmin(away, axis=0)] + 1
    return labels


def _pixels_of(page: PageMap, area: int) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
    """Rows and columns of an area in working pixels, looked for in its box alone."""
    left, top, right, bottom = (int(value * page.scale) for value in page.areas[area - 1].box)
    left, top = max(left - 1, 0), max(top - 1, 0)
    rows, columns = np.nonzero(page.labels[top : bottom + 2, left : right + 2] == area)
    return rows + top, columns + left


def _following(page: PageMap, owner: npt.NDArray[np.int32]) -> npt.NDArray[np.int32]:
    """The mark (areas + 1,) of each area, those without one by their paint; bare paper stays nobody's."""
    lab = np.array([(0.0, 0.0, 0.0), *(area.lab for area in page.areas)])
    marked = np.flatnonzero(owner)
    bare = np.array([True] + [area.is_paper for area in page.areas])
    if not len(marked):
        return owner
    away = np.linalg.norm(lab[:, None] - lab[marked][None], axis=2)
    follows = (owner == 0) & ~bare & (away.min(axis=1) < FOLLOWS)
    return np.where(follows, owner[marked[away.argmin(axis=1)]], owner)


def _shown(page: PageMap, place: FloatArray, area: PageArea | None) -> FloatArray:
    """The colour of a mark's paint as the scan shows it, sRGB 0-255 (3,); white where there is none."""
    if area is None:
        return np.full(3, 255.0)
    light = np.exp(-np.array(area.density)) * page.paper.at(place[None] / np.array(page.size))[0]
    return np.asarray(255.0 * encode_srgb(np.clip(light, 0.0, 1.0)))


LINE_FROM, LINE_FULL = 0.45, 0.85
"""Share of its paint's light that a pixel has lost: below the first it is a brush streak, from the second on ink."""

DARK_FROM, DARK_FULL = 105, 60
"""The same where no paint is known, by the brightest channel (0-255)."""


def _line(image: Image, brightest: Image, labels: Labels, paint: Image) -> Float32Array:
    """How much of each pixel is line art, from how much darker than its paint it is."""
    plain = np.clip((DARK_FROM - np.arange(256)) / (DARK_FROM - DARK_FULL), 0, 1).astype(np.float32)
    under = np.concatenate([np.ones((1, 3), np.float32), np.maximum(paint, 24)]).astype(np.float32) ** 2.2
    base = (under / (under * under).sum(axis=1, keepdims=True)).astype(np.float32)
    light = (np.arange(256) ** 2.2).astype(np.float32)
    kept = np.zeros(labels.shape, np.float32)
    for channel in range(3):
        kept += cv2.LUT(image[..., channel], light) * np.take(base[:, channel], labels)
    inked = np.clip((1.0 - LINE_FROM - kept) / (LINE_FULL - LINE_FROM), 0.0, 1.0)
    return np.where(labels > 0, inked, cv2.LUT(brightest, plain)).astype(np.float32)
