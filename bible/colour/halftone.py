"""A magnified look at a tint: the dots of each ink, at the ruling and the angles of the press condition.

The dots are round in the lights, touch at their corners at 50 % and leave round holes in the shadows, as the
common spot function makes them. Their area is the effective coverage, so dot gain is in the picture and the view
averages to about the colour the tint prints. Where dots of several inks fall on each other the overprint colour is
the measured one (the Neugebauer primaries). It is a picture of how a tint is made, not a proof.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import numpy.typing as npt

from bible.colour.colorimetry import encode_srgb, xyz_to_linear_srgb
from bible.colour.press import DEFAULT_RELATIVE, PressCondition
from bible.colour.tints import INKS, Tint

FloatArray = npt.NDArray[np.float64]
_SingleArray = npt.NDArray[np.float32]

MM_PER_INCH = 25.4
MAX_PIXELS = 2_000_000
"""Largest picture rendered, 1,600 x 1,250: a view is looked at, not printed."""

MIN_LINE_PIXELS = 2.0
"""Pixels per screen line below which dots cannot be drawn and would only beat with the pixels."""

_TURN = 2.0 * np.pi
_SOFTEST = 0.35
"""Least slope of the spot function at a dot's edge, in its own units per pixel-phase: where dots just touch it
vanishes, and dividing by it would blur the whole neck."""


def halftone(
    press: PressCondition,
    tint: Tint,
    width: int = 320,
    height: int = 240,
    pixels_per_mm: float = 40.0,
    relative: bool = DEFAULT_RELATIVE,
) -> npt.NDArray[np.uint8]:
    """Picture of a tint's dots, sRGB of shape (height, width, 3).

    Args:
        press: gives ruling, angles, dot gain and overprint colours.
        tint: the tint.
        width, height: size in pixels.
        pixels_per_mm: magnification; one screen line is ``line_pixels`` wide.
        relative: True shows the paper as white, False keeps its own colour.

    Raises:
        ValueError: an empty or too large picture, or a magnification too small to show dots.
    """
    if width < 1 or height < 1 or width * height > MAX_PIXELS:
        raise ValueError(f"a halftone view has from 1 to {MAX_PIXELS:,} pixels, not {width} x {height}")
    line = line_pixels(press, pixels_per_mm)
    if not line >= MIN_LINE_PIXELS:
        raise ValueError(f"at {pixels_per_mm} pixels per mm a screen line is {line:.1f} pixels: too small for dots")
    coverage = press.effective_coverage([tint.percentages]).coverage[0] / 100.0
    weights = np.ones((1, height, width), dtype=np.float32)
    primaries = np.zeros((1, 4))
    for ink, name in enumerate(INKS):
        if tint.percentages[ink] == 0:
            continue
        covered = _dots(float(coverage[ink]), press.angles[name], line, width, height)
        weights = np.concatenate([weights * (1 - covered), weights * covered])
        solid = primaries.copy()
        solid[:, ink] = 100.0
        primaries = np.concatenate([primaries, solid])
    xyz = press.relative_xyz(primaries) if relative else press.xyz(primaries)
    colours = np.clip(xyz_to_linear_srgb(xyz), 0.0, 1.0).astype(np.float32)
    linear = np.tensordot(weights, colours, axes=(0, 0))
    return _SRGB_OF_LINEAR[np.rint(linear * (len(_SRGB_OF_LINEAR) - 1)).astype(np.intp)]


def line_pixels(press: PressCondition, pixels_per_mm: float) -> float:
    """Width of one screen line in pixels at a magnification."""
    return pixels_per_mm * MM_PER_INCH / press.ruling_lpi


def _dots(coverage: float, angle: float, line: float, width: int, height: int) -> _SingleArray:
    """How much of each pixel the ink covers, 0-1, shape (height, width)."""
    if coverage >= 1.0:
        return np.ones((height, width), dtype=np.float32)
    turn = np.radians(angle)
    scale = _TURN / line
    x = (np.arange(width, dtype=np.float32) + 0.5) * scale
    y = (np.arange(height, dtype=np.float32)[:, None] + 0.5) * scale
    # Angles run anticlockwise from the horizontal, rows run down the picture.
    along = x * np.float32(np.cos(turn)) - y * np.float32(np.sin(turn))
    across = y * np.float32(np.cos(turn)) + x * np.float32(np.sin(turn))
    spot = np.cos(along) + np.cos(across)
    # An edge one pixel wide: distance to the dot's outline from the height above it and the slope there.
    slope = np.sqrt(np.sin(along) ** 2 + np.sin(across) ** 2)
    distance = (spot - np.float32(_threshold(coverage))) / (np.maximum(slope, _SOFTEST) * scale)
    return np.asarray(np.clip(distance + 0.5, 0.0, 1.0), dtype=np.float32)


def _threshold(coverage: float) -> float:
    """Height of the spot function cos u + cos v that a share ``coverage`` of the cell lies above."""
    heights = _heights()
    return float(np.interp(1.0 - coverage, np.linspace(0.0, 1.0, len(heights)), heights))


@lru_cache(maxsize=1)
def _heights() -> FloatArray:
    """Quantiles of the spot function, rising."""
    phase = (np.arange(512) + 0.5) / 512 * _TURN
    heights = np.sort((np.cos(phase)[:, None] + np.cos(phase)[None, :]).ravel())
    quantiles = np.linspace(0, len(heights) - 1, 2049)
    return np.interp(quantiles, np.arange(len(heights)), heights)


_SRGB_OF_LINEAR = np.rint(255 * encode_srgb(np.linspace(0.0, 1.0, 4096))).astype(np.uint8)
"""A table in place of a power per pixel; its steps are below one 8-bit step except in the deepest black."""
