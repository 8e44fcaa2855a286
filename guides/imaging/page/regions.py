"""The areas that marks stand for: grown from each mark over its paint, inside the line art.

A page's line art seldom closes every area, and one closed shape often holds two paints (a shade on a coat). So an
area is what hangs together with the mark in the mark's own paint, with line art as a wall; afterwards the areas are
drawn together under the lines, as paint is.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
Float32Array = npt.NDArray[np.float32]
Image = npt.NDArray[np.uint8]
Labels = npt.NDArray[np.int32]
Mask = npt.NDArray[np.bool_]

LINE_VALUE = 84
"""Brightest channel (0-255) up to which a pixel is line art: ink darkens every channel, a dark dye leaves one."""

SAME_PAINT = 17.0
"""CIE76 distance within which a pixel belongs to the mark's paint: brush streaks and uneven light do."""

BOX = 0.8
"""The flood's tolerance on each axis, as a share of ``SAME_PAINT``: a box about as large as the ball."""

SMOOTHING = 5
"""Median filter, pixels: takes grain, screen dots and fine pencil away, keeps edges."""

LOOK = 14
"""Radius around a mark in pixels of a page 1,600 high in which its paint is looked for."""

FOLLOWS = 13.0
"""CIE76 distance within which an area without a mark is taken for a marked paint: nearer than for the mark's own."""

STROKE = 8
"""Width of a heavy pen stroke, same pixels."""

UNDER_LINES = 9
"""How far areas run under lines and into slivers, in pixels of a page 1,600 high: half a heavy brush line."""

CLOSING = 7
"""Writing and pencil in an area are closed over up to this width, same pixels."""

PAPER_LIKE = 12.0
"""CIE76 distance from the bare paper below which nothing is painted."""

STANDARD_HEIGHT = 1600


@dataclass(frozen=True, eq=False)
class Regions:
    """Areas of the marks on a page of (h, w) pixels.

    Attributes:
        labels: (h, w), 0 where no mark's area is, else the mark's index + 1.
        own: the same without areas that only follow a mark's paint.
        line: (h, w) float32, how much of a pixel line art covers, 0-1.
        paint: (n, 3) uint8, each mark's paint.
        area: (n,) pixels of its own area, without what follows it; 0 where a mark is on lines only, or off the page.
        unmarked: (h, w), painted and in no mark's area.
    """

    labels: Labels
    own: Labels
    line: Float32Array
    paint: Image
    area: npt.NDArray[np.int64]
    unmarked: Mask


def grow(image: Image, points: npt.ArrayLike, follow: bool = True) -> Regions:
    """Find the area of each mark.

    Args:
        image: the painted page, uint8 sRGB (h, w, 3).
        points: (n, 2), x and y of the marks in its pixels; those off the page get no area.
        follow: give areas without a mark to the mark whose paint they carry, since a code is often told once a page
            (common practice, no source).

    Raises:
        ValueError: not such an image or points.
    """
    if image.ndim != 3 or image.shape[2] != 3 or image.dtype != np.uint8 or not image.size:
        raise ValueError(f"a page is an array (h, w, 3) of uint8, not {image.shape} of {image.dtype}")
    places = np.asarray(points, dtype=np.float64).reshape(-1, 2)
    height, width = image.shape[:2]
    scale = max(height, width) / STANDARD_HEIGHT
    smooth = np.asarray(cv2.medianBlur(image, SMOOTHING), dtype=np.uint8)
    lab = _lab(smooth)
    brightest = _brightest(image)
    wall = (brightest <= LINE_VALUE) | (_brightest(smooth) <= LINE_VALUE)
    flooding = _Flooding(lab, wall)
    paint = np.full((len(places), 3), 255, np.uint8)
    labels = np.zeros((height, width), np.int32)
    nearest = np.full((height, width), np.float32(np.inf))
    for index, (x, y) in enumerate(places):
        if not (0 <= x <= width and 0 <= y <= height):
            continue
        seed = _seed(lab, wall, min(int(x), width - 1), min(int(y), height - 1), max(4, round(LOOK * scale)))
        if seed is None:
            continue
        colour, at = seed
        paint[index] = smooth[at[1], at[0]]
        box, found = flooding.area(at, colour, max(3, round(CLOSING * scale)) | 1)
        away = _ranked(lab[box], colour)
        better = found & (away < nearest[box])
        np.copyto(labels[box], index + 1, where=better)
        np.copyto(nearest[box], away, where=better)
    own = labels
    marked = np.bincount(labels.ravel(), minlength=len(places) + 1)[1:]
    paper = _paper(image)
    if follow:
        labels = _follow(smooth, labels, wall, paint, marked > 0, paper, max(3, round(STROKE * scale)))
    squared = np.einsum("hwc,hwc->hw", lab, lab) + _ranked(lab, _lab(paper[None, None])[0, 0])
    coloured = squared > PAPER_LIKE**2
    inked = cv2.dilate(wall.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    spread = inked | coloured
    labels = _under_lines(labels, UNDER_LINES * scale, spread)
    own = _under_lines(own, UNDER_LINES * scale, spread) if follow else labels
    line = _line(image, brightest, labels, paint)
    painted = (coloured & ~wall & (labels == 0)).astype(np.uint8)
    unmarked = np.asarray(cv2.morphologyEx(painted, cv2.MORPH_OPEN, np.ones((5, 5), np.uint8))) > 0
    return Regions(labels, own, line, paint, marked, unmarked)


def _brightest(image: Image) -> Image:
    """The largest of the three channels (h, w); thrice as fast as asking for the maximum along the last axis."""
    return np.maximum(np.maximum(image[..., 0], image[..., 1]), image[..., 2])


def _ranked(lab: Float32Array, colour: Float32Array) -> Float32Array:
    """The square of every pixel's CIE76 distance (h, w) from a colour, less the square of its own length.

    That much is the same for every colour a pixel may be compared with, so the smallest is the nearest; it takes one
    pass over the pixels.
    """
    weights = np.append(-2 * colour, colour @ colour).astype(np.float64)
    return np.asarray(cv2.transform(lab, weights[None]), dtype=np.float32)


def _lab(image: Image) -> Float32Array:
    return np.asarray(cv2.cvtColor(image.astype(np.float32) / 255.0, cv2.COLOR_RGB2LAB), dtype=np.float32)


def _seed(lab: Float32Array, wall: Mask, x: int, y: int, reach: int) -> tuple[Float32Array, tuple[int, int]] | None:
    """The paint a mark means, CIELAB (3,), and a pixel (x, y) of it.

    Of the paints around the mark the one that fills most of the disc, near places counting more: the mark itself
    may stand on a written letter or a line.
    """
    top, left = max(y - reach, 0), max(x - reach, 0)
    here = np.s_[top : y + reach + 1, left : x + reach + 1]
    rows, columns = np.nonzero(~wall[here])
    if not len(rows):
        return None
    colours = lab[here][rows, columns]
    off = (rows + top - y) ** 2 + (columns + left - x) ** 2
    weight = np.exp(-off / (2 * (reach / 2.2) ** 2)) * (off <= reach**2)
    cells = np.floor((colours + np.array([0, 128, 128], np.float32)) / 12).astype(np.int64)
    keys = (cells[:, 0] * 64 + cells[:, 1]) * 64 + cells[:, 2]
    _, cell = np.unique(keys, return_inverse=True)
    colour = np.average(colours[cell == np.bincount(cell, weight).argmax()], axis=0)
    for _ in range(3):
        same = np.linalg.norm(colours - colour, axis=1) < SAME_PAINT * 0.7
        if not (weight[same]).sum():
            return None
        colour = np.average(colours[same], axis=0, weights=weight[same])
    near = np.linalg.norm(colours - colour, axis=1) + 0.05 * np.sqrt(off)
    at = int(near.argmin())
    return np.asarray(colour, np.float32), (int(columns[at] + left), int(rows[at] + top))


class _Flooding:
    """Floods of one page: line art stands in the mask as a wall that is built only once."""

    def __init__(self, lab: Float32Array, wall: Mask) -> None:
        self.lab, self.wall = np.ascontiguousarray(lab), wall
        self.mask: Image = np.pad(wall.astype(np.uint8), 1, constant_values=1)

    def area(self, at: tuple[int, int], colour: Float32Array, closing: int) -> tuple[tuple[slice, slice], Mask]:
        """What hangs together with a pixel in a paint: a box of the page, and the mask within it."""
        here = self.lab[at[1], at[0]]
        low, high = (here - colour + SAME_PAINT * BOX), (colour + SAME_PAINT * BOX - here)
        flags = 4 | cv2.FLOODFILL_FIXED_RANGE | cv2.FLOODFILL_MASK_ONLY | (2 << 8)
        bounds = [tuple(float(max(0.0, value)) for value in side) for side in (low, high)]
        _, _, _, rect = cv2.floodFill(self.lab, self.mask, at, (0, 0, 0), bounds[0], bounds[1], flags)
        left, top, wide, tall = rect
        height, width = self.wall.shape
        rows = slice(max(top - closing, 0), min(top + tall + closing, height))
        columns = slice(max(left - closing, 0), min(left + wide + closing, width))
        within = self.mask[rows.start + 1 : rows.stop + 1, columns.start + 1 : columns.stop + 1]
        found = (within == 2).astype(np.uint8)
        within[within == 2] = 0
        square = np.ones((closing, closing), np.uint8)
        return (rows, columns), np.asarray(cv2.morphologyEx(found, cv2.MORPH_CLOSE, square)) > 0


def _under_lines(labels: Labels, reach: float, within: Mask) -> Labels:
    """Let every area run on to the middle of the lines and slivers around it, not out onto bare paper."""
    if not labels.any():
        return labels
    away, nearest = cv2.distanceTransformWithLabels(
        (labels == 0).astype(np.uint8), cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL
    )
    owner = np.zeros(int(nearest.max()) + 1, np.int32)
    inside = labels > 0
    owner[nearest[inside]] = labels[inside]
    grown = (away <= reach) & within & ~inside
    found = labels.copy()
    found[grown] = owner[nearest[grown]]
    return found


def _follow(
    smooth: Image,
    labels: Labels,
    wall: Mask,
    paint: Image,
    known: npt.NDArray[np.bool_],
    paper: Image,
    stroke: int,
) -> Labels:
    """Hand unmarked pixels to the mark whose paint is theirs; the bare paper competes, and belongs to nobody.

    Done by a table over colours of 5 bits a channel, as there are far fewer of those than pixels.
    """
    marks = np.flatnonzero(known)
    if not len(marks):
        return labels
    few = (smooth >> 3).astype(np.uint16)
    keys = (few[..., 0] << 10) | (few[..., 1] << 5) | few[..., 2]
    cells = np.arange(32**3)
    centres = np.stack([cells >> 10, cells >> 5 & 31, cells & 31], axis=-1) * 8 + 4
    lab = _lab(centres[None].astype(np.uint8))[0]
    rivals = _lab(np.concatenate([paper[None], paint[marks]])[None])[0]
    squared = (lab * lab).sum(axis=1)[:, None] - 2 * lab @ rivals.T + (rivals * rivals).sum(axis=1)
    best = squared.argmin(axis=1)
    owner = np.where((squared.min(axis=1) < FOLLOWS**2) & (best > 0), np.concatenate([[0], marks + 1])[best], 0)
    following = np.where((labels == 0) & ~wall, np.take(owner.astype(np.int32), keys), 0)
    # Letters in a dark paint are no areas: what a heavy pen stroke is wider than is left alone.
    core = cv2.erode((following > 0).astype(np.uint8), np.ones((stroke, stroke), np.uint8))
    solid = cv2.dilate(core, np.ones((stroke + 2, stroke + 2), np.uint8)) > 0
    return np.where(solid & (following > 0), following, labels)


def _paper(image: Image) -> npt.NDArray[np.uint8]:
    """The bare paper: the commonest light tone of the page."""
    few = image[::5, ::5].reshape(-1, 3)
    light = few[few.min(axis=1) > 150]
    if len(light) < 20:
        return np.array([255, 255, 255], np.uint8)
    cells = (light >> 3).astype(np.int64)
    keys = (cells[:, 0] * 32 + cells[:, 1]) * 32 + cells[:, 2]
    _, cell = np.unique(keys, return_inverse=True)
    return np.asarray(light[cell == np.bincount(cell).argmax()].mean(axis=0), np.uint8)


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
