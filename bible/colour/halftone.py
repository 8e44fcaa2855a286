"""A magnified look at a tint: the dots of each ink, at the ruling and the angles of the press condition.

The dots are round in the lights, touch at their corners at 50 % and leave round holes in the shadows, as the
common spot function makes them. Their area is the effective coverage, so dot gain is in the picture and the view
averages to about the colour the tint prints. Where dots of several inks fall on each other the overprint colour is
the measured one (the Neugebauer primaries). It is a picture of how a tint is made, not a proof.
"""

from __future__ import annotations

from collections.abc import Sequence
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

BAND = 32
"""Rows rendered at a time: memory stays small whatever the size of the picture."""

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
    inks = [ink for ink in range(4) if tint.percentages[ink]]
    colours = overprints(press, inks, relative)
    outlines = thresholds(coverage, line)
    picture = np.empty((height, width, 3), dtype=np.uint8)
    for top in range(0, height, BAND):
        rows = np.arange(top, min(top + BAND, height))
        covers = [dots(outlines[ink], press.angles[INKS[ink]], line, width, rows) for ink in inks]
        picture[rows] = mixed(covers, colours) if covers else encoded(np.broadcast_to(colours, (len(rows), width, 3)))
    return picture


def overprints(press: PressCondition, inks: Sequence[int], relative: bool = DEFAULT_RELATIVE) -> _SingleArray:
    """Linear sRGB (2 ** n, 3) of every set of n inks printed solid on each other (the Neugebauer primaries).

    Number ``i`` holds ink ``inks[j]`` where bit ``n - 1 - j`` of i is set, as ``mixed`` splits pixels.
    """
    primaries = np.zeros((1, 4))
    for ink in reversed(inks):
        solid = primaries.copy()
        solid[:, ink] = 100.0
        primaries = np.concatenate([primaries, solid])
    xyz = press.relative_xyz(primaries) if relative else press.xyz(primaries)
    return np.clip(xyz_to_linear_srgb(xyz), 0.0, 1.0).astype(np.float32)


def mixed(covers: Sequence[_SingleArray], colours: _SingleArray) -> npt.NDArray[np.uint8]:
    """sRGB (rows, width, 3) of inks that cover so much of each pixel, (rows, width) 0-1 each, over each other."""
    light = [np.broadcast_to(colour, (*covers[0].shape, 3)) for colour in colours]
    for cover in reversed(covers):
        share = cover[..., None]
        light = [bare + share * (inked - bare) for bare, inked in zip(light[::2], light[1::2], strict=True)]
    return encoded(light[0])


def encoded(linear: _SingleArray) -> npt.NDArray[np.uint8]:
    """8-bit sRGB of linear light 0-1, by a table."""
    return np.asarray(_SRGB_OF_LINEAR.take((linear * _LAST + 0.5).astype(np.uint16), mode="clip"))


def line_pixels(press: PressCondition, pixels_per_mm: float) -> float:
    """Width of one screen line in pixels at a magnification."""
    return pixels_per_mm * MM_PER_INCH / press.ruling_lpi


def dots(outline: npt.ArrayLike, angle: float, line: float, width: int, rows: npt.NDArray[np.intp]) -> _SingleArray:
    """How much of each pixel of these rows the ink covers, 0-1, shape (rows, width).

    ``outline``: what ``thresholds`` gives for the coverage, one for all pixels or one for each (rows, width);
    ``angle`` in degrees; ``line``: pixels per screen line.
    """
    level = np.asarray(outline, dtype=np.float32)
    if not level.ndim and not np.isfinite(level):
        return np.full((len(rows), width), level < 0, dtype=np.float32)
    turn = np.radians(angle)
    scale = _TURN / line
    # Angles run anticlockwise from the horizontal, rows run down the picture. With u = x cos - y sin along the
    # screen and v = x sin + y cos across it, the sum rules give cosines and sines from one row and one column.
    x = (np.arange(width) + 0.5) * scale
    y = (rows[:, None] + 0.5) * scale
    xu, yu, xv, yv = (
        (np.cos(phase).astype(np.float32), np.sin(phase).astype(np.float32))
        for phase in (x * np.cos(turn), y * np.sin(turn), x * np.sin(turn), y * np.cos(turn))
    )
    spot = xu[0] * yu[0] + xu[1] * yu[1] + xv[0] * yv[0] - xv[1] * yv[1]
    slope = np.sqrt((xu[1] * yu[0] - xu[0] * yu[1]) ** 2 + (xv[1] * yv[0] + xv[0] * yv[1]) ** 2)
    # An edge one pixel wide: distance to the dot's outline from the height above it and the slope there.
    distance = (spot - level) / (np.maximum(slope, _SOFTEST) * scale)
    return np.asarray(np.clip(distance + 0.5, 0.0, 1.0), dtype=np.float32)


def thresholds(coverage: npt.ArrayLike, line: float) -> _SingleArray:
    """Height of the spot function cos u + cos v at the outline of dots that cover a share ``coverage`` (0-1).

    Calibrated for the softened edges of ``dots`` at ``line`` pixels a screen line, where small dots are mostly
    edge. No ink is infinitely high and a solid infinitely low, so that neither leaves specks.
    """
    share = np.asarray(coverage, dtype=np.float64)
    levels, covered = _covered(line)
    level = np.interp(share, covered[::-1], levels[::-1])
    return np.where(share <= 0.0, np.inf, np.where(share >= 1.0, -np.inf, level)).astype(np.float32)


@lru_cache(maxsize=32)
def _covered(line: float) -> tuple[FloatArray, FloatArray]:
    """Rising outline heights, and the share of a cell that ``dots`` then covers (falling), both (n,)."""
    scale = _TURN / line
    phase = (np.arange(96) + 0.5) / 96 * np.pi  # the spot function is even: half a cell each way holds all of it
    spot = (np.cos(phase)[:, None] + np.cos(phase)).ravel()
    slope = np.sqrt(np.sin(phase)[:, None] ** 2 + np.sin(phase) ** 2).ravel()
    edge = np.maximum(slope, _SOFTEST) * scale
    levels = np.linspace(-2.0 - scale, 2.0 + scale, 257)
    covered = [np.clip((spot - level) / edge + 0.5, 0.0, 1.0).mean() for level in levels]
    return levels, np.array(covered)


_LAST = 4095
_SRGB_OF_LINEAR = np.rint(255 * encode_srgb(np.linspace(0.0, 1.0, _LAST + 1))).astype(np.uint8)
"""A table in place of a power per pixel; its steps are below one 8-bit step except in the deepest black."""
