"""What colours a scanner's light stands for: learned from a target beside the sheet, else believed as sRGB.

The expansions are colour-science's (Cheung 2004: polynomials; Finlayson 2015: roots of polynomials, which do not
depend on exposure). The target's own patches say which of them this scanner needs: each patch is predicted from the
others, and a longer expansion must earn its terms.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import product

import numpy as np
import numpy.typing as npt

from bible.colour.colorimetry import linear_srgb_to_xyz, xyz_to_lab
from bible.colour.difference import delta_e_2000
from bible.colour.science import colour_science

FloatArray = npt.NDArray[np.float64]

EXPANSIONS = (("Finlayson 2015", 1), ("Finlayson 2015", 2), ("Cheung 2004", 7), ("Cheung 2004", 10))
"""Method, and degree or number of terms; with 24 patches more terms than ten follow the noise."""

EARNED = 0.97
"""A longer expansion, or a looser hold on the file's own colours, is taken where its error on patches left out is
below this share of the best so far."""

SRGB_SD = 1.7
"""Standard deviation in CIEDE2000 units, each way, of colours believed as sRGB. From simulated scanners
(``tests/benchmarks/bench_chart.py``, the family for tuning)."""

TARGET_SD, TARGET_SHARE = 0.45, 0.6
"""The same with a target: a floor, for inks are no target's dyes, and a share of the error on patches left out."""

GREY_CHROMA = 6.0
"""CIELAB chroma up to which a patch of a target counts as grey."""

FEWEST_GREYS = 4
DARKEST = 1e-4
LIFT = 0.004
"""Light added before roots are weighed: below it errors are nobody's to see."""

HOLDS = (10.0, 1.0, 0.1, 1e-2, 1e-3)
"""How firmly the file's own colours are held to, tried in turn: a maker's matrix is seldom far off."""


@dataclass(frozen=True)
class Scanner:
    """From linear light as scanned to colour.

    Attributes:
        sd: standard deviation in CIEDE2000 units, each way, of what it says.
        said: how it was learned, in words.
        left_out: CIEDE2000 (m,) of the target's patches, each predicted from the others; empty without a target.
    """

    sd: float
    said: str
    left_out: FloatArray = field(default_factory=lambda: np.zeros(0))
    _tones: FloatArray | None = None
    _method: tuple[str, int] = EXPANSIONS[0]
    _matrix: FloatArray | None = None

    def xyz(self, rgb: FloatArray) -> FloatArray:
        """XYZ (n, 3), D50 and Y = 100, of linear light (n, 3)."""
        if self._matrix is None or self._tones is None:
            return np.maximum(linear_srgb_to_xyz(rgb), DARKEST)
        light = _toned(rgb, self._tones)
        return np.maximum(linear_srgb_to_xyz(light) + 100.0 * _expanded(light, self._method) @ self._matrix, DARKEST)

    def lab(self, rgb: FloatArray) -> FloatArray:
        return xyz_to_lab(self.xyz(rgb))


BELIEVED = Scanner(
    SRGB_SD, "no target was scanned along: the file’s own colours (its profile, else sRGB) are believed"
)


def learn(rgb: FloatArray, xyz: FloatArray) -> Scanner:
    """Learn a scanner from a target: linear light (m, 3) and the reference's XYZ (m, 3)."""
    tones = _tones_of(rgb, xyz)
    light = _toned(rgb, tones)
    wanted, lab = xyz / 100.0, xyz_to_lab(xyz)
    weight = (np.maximum(wanted, 0.0) + LIFT) ** (-2.0 / 3.0)  # as the cube roots of CIELAB weigh light
    best: tuple[float, tuple[str, int], FloatArray, FloatArray] | None = None
    believed = linear_srgb_to_xyz(light) / 100.0
    for method, hold in product(EXPANSIONS, HOLDS):
        terms = _expanded(light, method)
        if terms.shape[1] * 1.5 > len(rgb):
            continue
        matrix, predicted = _solved(terms, wanted - believed, weight, hold)
        difference = delta_e_2000(xyz_to_lab(np.maximum(100.0 * (believed + predicted), DARKEST)), lab)
        error = float(np.sqrt((difference**2).mean()))
        if best is None or error < EARNED * best[0]:
            best = (error, method, matrix, difference)
    assert best is not None
    error, method, matrix, difference = best
    sd = float(np.hypot(TARGET_SD, TARGET_SHARE * error))
    sentence = (
        f"learned from {len(rgb)} patches of a target; left out one by one they come out "
        f"{difference.mean():.1f} CIEDE2000 off in the mean"
    )
    return Scanner(sd, sentence, difference, tones, method, matrix)


def _expanded(light: FloatArray, method: tuple[str, int]) -> FloatArray:
    """Linear light (n, 3) as the terms of an expansion (n, t)."""
    name, size = method
    if (name, size) == EXPANSIONS[0]:
        return light
    characterisation = colour_science().characterisation
    if name == "Cheung 2004":
        return np.asarray(characterisation.matrix_augmented_Cheung2004(light, terms=size), dtype=np.float64)
    roots = characterisation.polynomial_expansion_Finlayson2015(light, degree=size, root_polynomial_expansion=True)
    return np.asarray(roots, dtype=np.float64)


def _solved(terms: FloatArray, wanted: FloatArray, weight: FloatArray, hold: float) -> tuple[FloatArray, FloatArray]:
    """Weighted ridge a channel: the matrix (t, 3), and every row (n, 3) as predicted without itself."""
    matrix, predicted = np.empty((terms.shape[1], 3)), np.empty_like(wanted)
    for channel in range(3):
        rows = terms * weight[:, channel, None]
        inverse = np.linalg.inv(rows.T @ rows + hold * np.eye(rows.shape[1]))
        matrix[:, channel] = inverse @ (rows.T @ (wanted[:, channel] * weight[:, channel]))
        pull = np.clip(np.einsum("ij,jk,ik->i", rows, inverse, rows), 0.0, 0.98)
        rest = wanted[:, channel] - terms @ matrix[:, channel]
        predicted[:, channel] = wanted[:, channel] - rest / (1.0 - pull)
    return matrix, predicted


def _toned(rgb: FloatArray, tones: FloatArray) -> FloatArray:
    """gain · (light − offset) ** power a channel, from ``tones`` (3, 3)."""
    offset, gain, power = tones
    return np.asarray(gain * np.maximum(rgb - offset, DARKEST) ** power)


def _tones_of(rgb: FloatArray, xyz: FloatArray) -> FloatArray:
    """Offset, gain and power (3, 3: a row each) that make the target's greys grey."""
    from scipy.optimize import least_squares

    lab = xyz_to_lab(xyz)
    grey = np.hypot(lab[:, 1], lab[:, 2]) < GREY_CHROMA
    tones = np.array([[0.0] * 3, [1.0] * 3, [1.0] * 3])
    if grey.sum() < FEWEST_GREYS:
        return tones
    wanted = np.cbrt(xyz[grey, 1] / 100.0)
    for channel in range(3):
        light = rgb[grey, channel]

        def miss(curve: FloatArray, light: FloatArray = light) -> FloatArray:
            rest = np.cbrt(curve[1] * np.maximum(light - curve[0], DARKEST) ** curve[2]) - wanted
            # A trace of the plain answer: four greys do not say everything about a curve.
            return np.r_[rest, 0.02 * curve[0], 0.003 * (curve[2] - 1.0)]

        low, high = [-0.05, 0.3, 0.5], [min(0.08, 0.9 * float(light.min())), 4.0, 2.0]
        tones[:, channel] = least_squares(miss, [0.0, 1.0, 1.0], bounds=(low, high)).x
    return tones
