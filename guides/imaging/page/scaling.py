"""The picture of a page brought to the size at which its map is made, and its uneven light evened out.

Everything after this is measured in pens: the width of the page's own lines, which is found here too.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from guides.imaging.page.paper import Paper, find_paper, linear

Image = npt.NDArray[np.uint8]
Float32Array = npt.NDArray[np.float32]
BoolArray = npt.NDArray[np.bool_]

MOST_PIXELS, FEWEST_PIXELS = 2_600_000, 1_900_000
"""Pixels to work at: a comic page is then eight to the millimetre and its pen three wide. More costs time; with fewer
the thinnest lines and the smallest parts run together."""

MOST_ENLARGED = 4.0
"""Beyond this an enlarged picture holds nothing but its own blur."""

PAPER_LEVEL = 0.87
"""Linear light given to the bare paper: white pencil and glints stay below white."""

FINEST_PEN, BROADEST_PEN = 2.0, 14.0
"""Width of the pen in working pixels: what is thinner cannot be measured, what is broader is a brush."""

PEN_OF_PAGE = 1 / 420
"""Width of the pen as a share of the square root of the page's area where no line tells it: 0.5 mm on a comic page
(common practice, no source)."""

FEW_LINES = 0.0015
"""Share of a page that must be lines for its pen to be measured."""

_LINEAR = linear(np.arange(256) / 255.0).astype(np.float32)
_STEPS = 8192
_CODED = np.rint(
    255.0
    * np.where(
        np.arange(_STEPS) / (_STEPS - 1) <= 0.0031308,
        12.92 * np.arange(_STEPS) / (_STEPS - 1),
        1.055 * (np.arange(_STEPS) / (_STEPS - 1)) ** (1 / 2.4) - 0.055,
    )
).astype(np.uint8)


@dataclass(frozen=True, eq=False)
class EvenPage:
    """A page at working size.

    ``rgb`` uint8 sRGB (h, w, 3) as scanned; ``even`` the same as if its paper were white and evenly lit; ``scale``
    working pixels per pixel of the picture; ``paper`` its bare paper; ``pen`` width of its lines in working pixels.
    """

    rgb: Image
    even: Image
    scale: float
    paper: Paper
    pen: float
    ink: int


def even_page(image: Image) -> EvenPage:
    """Prepare a scan, uint8 sRGB (h, w, 3).

    Raises:
        ValueError: not such an array.
    """
    if image.ndim != 3 or image.shape[2] != 3 or image.dtype != np.uint8 or not image.size:
        raise ValueError(f"a page is an array (h, w, 3) of uint8, not {image.shape} of {image.dtype}")
    height, width = image.shape[:2]
    most, fewest = (pixels / (height * width) for pixels in (MOST_PIXELS, FEWEST_PIXELS))
    scale = most**0.5 if most < 1 else min(max(fewest, 1.0) ** 0.5, MOST_ENLARGED)
    if scale != 1.0:
        size = (max(1, round(width * scale)), max(1, round(height * scale)))
        way = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
        image = np.asarray(cv2.resize(image, size, interpolation=way), dtype=np.uint8)
    image = np.asarray(cv2.medianBlur(image, 3), dtype=np.uint8)
    paper = find_paper(image)
    even = _evened(image, paper)
    pen, ink = _pen(even)
    return EvenPage(image, even, scale, paper, pen, ink)


def _evened(image: Image, paper: Paper) -> Image:
    height, width = image.shape[:2]
    coarse = paper.light((max(2, height // 16), max(2, width // 16)))
    out = np.empty_like(image)
    for channel in range(3):
        gain = cv2.resize(coarse[..., channel], (width, height), interpolation=cv2.INTER_LINEAR)
        light = cv2.LUT(image[..., channel], _LINEAR)
        cv2.divide(light, gain, light, scale=PAPER_LEVEL * (_STEPS - 1))
        np.minimum(light, _STEPS - 1, out=light)
        out[..., channel] = _CODED[light.astype(np.int16)]
    return out


def brightest(rgb: Image) -> Image:
    """The largest of the three channels (h, w): ink darkens every one, a dye leaves one bright."""
    red, green, blue = cv2.split(rgb)
    return np.asarray(cv2.max(cv2.max(red, green), blue), dtype=np.uint8)


def disc(diameter: float) -> Image:
    side = max(1, round(diameter)) | 1
    return np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side)), dtype=np.uint8)


def _pen(even: Image) -> tuple[float, int]:
    """Width of the page's lines in working pixels, and how bright (0-255) their ink is."""
    usual = max(FINEST_PEN, PEN_OF_PAGE * float(np.sqrt(even.shape[0] * even.shape[1])))
    value = brightest(even)
    around = cv2.morphologyEx(value, cv2.MORPH_CLOSE, disc(4.5 * usual))
    deep = around.astype(np.int16) - value
    strokes = deep > 60
    if strokes.mean() < FEW_LINES:
        return usual, int(np.clip(np.percentile(value[::5, ::5], 1), 12, 90))
    ink = int(np.clip(np.percentile(value[strokes], 10), 12, 110))
    lines = (value < ink + (around - ink) * 0.5) & (deep > 40)
    away = cv2.distanceTransform(lines.astype(np.uint8), cv2.DIST_L2, 3)
    ridge = lines & (away >= cv2.dilate(away, np.ones((3, 3), np.uint8)) - 0.01)
    width = 2.0 * float(np.median(away[ridge])) - 0.5 if ridge.any() else usual
    return float(np.clip(width, FINEST_PEN, BROADEST_PEN)), ink
