"""The colour-science library, and what the product takes from it: imported where it is needed, never on start-up.

Importing it takes 1.2 s and 100 MB. Whatever reads measurements, judges a fit or asks how somebody with a
colour-vision deficiency sees a tint can wait for it; a swatch or a flag cannot, so `colorimetry` and `difference`
have the few formulas of a page written out (`tests/benchmarks/test_colour_bench.py` has both side by side, and the
tests hold them to this library).
"""

from __future__ import annotations

import warnings
from functools import lru_cache
from types import ModuleType

import numpy as np
import numpy.typing as npt

from bible.colour.colorimetry import D50_XYZ

FloatArray = npt.NDArray[np.float64]

DEFICIENCIES = {"protanopia": "Protanomaly", "deuteranopia": "Deuteranomaly", "tritanopia": "Tritanomaly"}
"""Colour-vision deficiencies at full strength, by the name under which the library tabulates their milder forms."""

FULL_STRENGTH = 1.0


@lru_cache
def colour_science() -> ModuleType:
    """The library itself. It warns of plotting parts that nobody needs here."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour
    return colour


@lru_cache
def deficiency_matrix(deficiency: str) -> FloatArray:
    """Matrix (3, 3) on linear sRGB (column vectors) that shows how somebody with a deficiency sees a colour.

    Source: G. M. Machado, M. M. Oliveira and L. A. F. Fernandes, "A Physiologically-based Model for Simulation of
    Color Vision Deficiency" (2009). The one for tritanopia is an approximation of theirs; the library warns of it,
    and the look-alike page says it. KeyError if ``deficiency`` is none of ``DEFICIENCIES``.
    """
    named = DEFICIENCIES[deficiency]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        matrix = colour_science().blindness.matrix_cvd_Machado2009(named, FULL_STRENGTH)
    return np.asarray(matrix, dtype=np.float64)


def measured_lab(xyz: FloatArray) -> FloatArray:
    """CIELAB (n, 3) of measured D50 XYZ (n, 3), Y = 100 scale (CIE 15)."""
    colour = colour_science()
    return np.asarray(colour.XYZ_to_Lab(xyz / 100.0, _d50()), dtype=np.float64)


def measured_xyz(lab: FloatArray) -> FloatArray:
    """D50 XYZ (n, 3), Y = 100 scale, of measured CIELAB (n, 3): the inverse of ``measured_lab``."""
    colour = colour_science()
    return np.asarray(colour.Lab_to_XYZ(lab, _d50()) * 100.0, dtype=np.float64)


def measured_difference(first: FloatArray, second: FloatArray) -> FloatArray:
    """CIEDE2000 (n,) between measured CIELAB (n, 3) and (n, 3) (ISO/CIE 11664-6)."""
    return np.asarray(colour_science().delta_E(first, second, method="CIE 2000"), dtype=np.float64)


def _d50() -> FloatArray:
    """Chromaticity of the white of graphic arts measurements."""
    return np.asarray(colour_science().XYZ_to_xy(D50_XYZ / 100.0), dtype=np.float64)
