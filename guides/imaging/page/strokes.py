"""Line art: thin, and darker than what lies on both sides of it."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from guides.imaging.page.scaling import BoolArray, EvenPage, Float32Array, Image, brightest, disc

BROADEST_LINE = 3.5
"""Pens up to which a dark stroke is a line; what is broader is a black area."""

WAY_TO_INK, WAY_TO_INK_COLOURED = 0.52, 0.28
"""How far from its surroundings to the ink a pixel must be to be line: half way, where the edge of a blurred line is;
a coloured pixel further, for it may be a dark paint in a narrow part."""

COLOURED = 80.0
"""Difference of the channels (0-255) from which a pixel is fully coloured."""

STANDS_OUT = 18
"""Least difference (0-255) of a line from its surroundings: below it is a streak of the brush."""


def line_art(page: EvenPage) -> BoolArray:
    """Where (h, w) the page's lines are: ink, with gaps where the scan has them."""
    value = brightest(page.even)
    least = cv2.min(cv2.min(page.even[..., 0], page.even[..., 1]), page.even[..., 2])
    around = cv2.morphologyEx(value, cv2.MORPH_CLOSE, disc(BROADEST_LINE * page.pen))
    coloured = np.minimum((value - least).astype(np.float32) * np.float32(1 / COLOURED), np.float32(1.0))
    way = np.float32(WAY_TO_INK) - np.float32(WAY_TO_INK - WAY_TO_INK_COLOURED) * coloured
    deep = cv2.subtract(around, value)
    limit = page.ink + (around.astype(np.float32) - page.ink) * way
    return np.asarray((value < limit) & (deep > STANDS_OUT))


def opponent(rgb: Image) -> Float32Array:
    """Lightness and two opponent axes (h, w, 3) or (n, 3) of sRGB pixels, in about the units of CIELAB.

    The cube root is taken before the channels are mixed (sRGB to white-relative XYZ, IEC 61966-2-1), not after: to
    tell areas apart it is as good, and a table does it.
    """
    grid = rgb.reshape(1, -1, 3) if rgb.ndim == 2 else rgb
    lab = cv2.transform(cv2.LUT(grid, _ROOT), _OPPONENT.T.astype(np.float32))
    return np.asarray(lab, dtype=np.float32).reshape(rgb.shape)


def edges(lab: Float32Array) -> Float32Array:
    """How steeply (h, w) the colour changes, in units of CIELAB over two pixels."""
    across = cv2.blur(lab, (1, 3))
    down = cv2.blur(lab, (3, 1))
    steep = np.zeros(lab.shape[:2], np.float32)
    steep[:, 1:-1] = _squared(across[:, 2:] - across[:, :-2])
    steep[1:-1] += _squared(down[2:] - down[:-2])
    return np.asarray(cv2.sqrt(steep), dtype=np.float32)


def _squared(difference: Float32Array) -> Float32Array:
    return np.asarray(cv2.transform(difference * difference, np.ones((1, 3), np.float32)), dtype=np.float32)


_LIGHT = np.arange(256) / 255.0
_ROOT = np.cbrt(np.where(_LIGHT <= 0.04045, _LIGHT / 12.92, ((_LIGHT + 0.055) / 1.055) ** 2.4)).astype(np.float32)
_WHITE_XYZ = np.array([[0.2126, 0.7152, 0.0722], [0.4339, 0.3762, 0.1899], [0.0178, 0.1095, 0.8727]])
_OPPONENT: npt.NDArray[np.float64] = np.stack(
    [100 * _WHITE_XYZ[0], 500 * (_WHITE_XYZ[1] - _WHITE_XYZ[0]), 200 * (_WHITE_XYZ[0] - _WHITE_XYZ[2])], axis=1
)
