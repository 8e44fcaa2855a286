"""What people call a colour: “red coat” asks for every red there is, not for one code.

The eleven basic colour terms of English (B. Berlin and P. Kay, Basic Color Terms, 1969) as regions of CIELAB. The
borders are our own, wide and overlapping on purpose: who looks for an orange is shown what somebody else calls red.
They were chosen on the basic names of CSS and are judged on its other names (``tests/bible/colour``).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from bible.colour.colorimetry import FloatArray


class ColourRegion(NamedTuple):
    """Bounds of a word: lightness L*, chroma C*ab and hue angle in degrees, which may run through 0."""

    lightness: tuple[float, float]
    chroma: tuple[float, float]
    hue: tuple[float, float] = (0.0, 360.0)


ANY = 200.0
"""More chroma than any ink or light has."""

REGIONS: dict[str, tuple[ColourRegion, ...]] = {
    "black": (ColourRegion((0, 24), (0, 16)),),
    "white": (ColourRegion((88, 101), (0, 14)),),
    "grey": (ColourRegion((18, 93), (0, 14)),),
    "red": (ColourRegion((15, 68), (28, ANY), (345, 50)), ColourRegion((15, 55), (15, ANY), (345, 30))),
    "pink": (ColourRegion((52, 96), (10, ANY), (318, 50)),),
    "orange": (ColourRegion((52, 90), (25, ANY), (38, 82)),),
    "brown": (ColourRegion((12, 76), (10, 56), (20, 100)), ColourRegion((12, 60), (10, 66), (20, 90))),
    "yellow": (ColourRegion((66, 101), (15, ANY), (76, 118)),),
    "green": (ColourRegion((10, 99), (12, ANY), (102, 205)), ColourRegion((10, 60), (12, ANY), (90, 110))),
    "blue": (ColourRegion((8, 97), (10, ANY), (188, 312)),),
    "purple": (ColourRegion((8, 80), (12, ANY), (290, 355)),),
}

ALIASES = {"gray": "grey", "violet": "purple"}
"""Other words for the same thing."""


def colour_term(word: str) -> str:
    """The basic term that a word is, in whatever letters; empty where it names no colour."""
    lowered = word.lower()
    term = ALIASES.get(lowered, lowered)
    return term if term in REGIONS else ""


def is_called(lab: FloatArray, term: str) -> np.ndarray:
    """Which colours may be called by a basic term.

    Args:
        lab: CIELAB, D50, relative to the paper, shape (N, 3): people see paper as white, newsprint too.
        term: one of ``REGIONS``.

    Returns:
        shape (N,), of truth values.
    """
    lightness, chroma = lab[:, 0], np.hypot(lab[:, 1], lab[:, 2])
    hue = np.degrees(np.arctan2(lab[:, 2], lab[:, 1])) % 360.0
    called = np.zeros(len(lab), dtype=bool)
    for region in REGIONS[term]:
        begins, ends = region.hue
        turned = (hue >= begins) & (hue <= ends) if begins <= ends else (hue >= begins) | (hue <= ends)
        within = (lightness >= region.lightness[0]) & (lightness <= region.lightness[1])
        called |= turned & within & (chroma >= region.chroma[0]) & (chroma <= region.chroma[1])
    return called
