"""Two runs of the same sheet side by side: which ink prints heavier, its dots and its film apart.

What a little more of either would do to each patch follows from the first run's press condition; least squares over
all patches then tell the two apart, since a film shows in the solids and a gain does not. A scanner that was brighter
the second time, and another paper, are fitted beside them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from bible.colour.condition import PressCondition
from bible.colour.tints import INK_NAMES, INKS

FloatArray = npt.NDArray[np.float64]

GAIN_STEP = 1.0
"""Percentage points at 50 % in which a change of dot gain is tried."""

FILM_STEP = 0.02
"""Share of an ink's density in which a change of its film is tried."""

SURE = 3.5
"""Standard errors from which a change is claimed: with eight numbers looked at, one in two thousand by chance."""

LEAST_GAIN, LEAST_FILM = 1.2, 0.03
"""Points of dot gain and share of density below which nobody would set a press otherwise."""

GAIN_FLOOR, FILM_FLOOR = 0.25, 0.008
"""Standard errors that no number of patches goes below: the sheet was laid on the glass twice."""

ROUNDS = 6


@dataclass(frozen=True, slots=True)
class InkDrift:
    """How an ink changed: ``gain`` in percentage points at 50 %, ``film`` as share of its density, each with its
    standard error, and whether it is claimed."""

    ink: str
    gain: float
    gain_error: float
    film: float
    film_error: float

    @property
    def gain_sure(self) -> bool:
        return abs(self.gain) >= max(LEAST_GAIN, SURE * self.gain_error)

    @property
    def film_sure(self) -> bool:
        return abs(self.film) >= max(LEAST_FILM, SURE * self.film_error)

    @property
    def film_percent(self) -> float:
        return 100 * self.film

    @property
    def film_error_percent(self) -> float:
        return 100 * self.film_error

    @property
    def said(self) -> str:
        """In words; empty where nothing is claimed."""
        words = []
        if self.gain_sure:
            way = "more" if self.gain > 0 else "less"
            words.append(f"{abs(self.gain):.1f} points {way} dot gain at 50 % (±{1.64 * self.gain_error:.1f})")
        if self.film_sure:
            way = "more" if self.film > 0 else "less"
            words.append(f"{100 * abs(self.film):.0f} % {way} density (±{164 * self.film_error:.0f})")
        return f"{INK_NAMES[self.ink]} prints {' and '.join(words)}" if words else ""


def drift(press: PressCondition, tints: FloatArray, first: FloatArray, second: FloatArray) -> tuple[InkDrift, ...]:
    """Compare two runs.

    Args:
        press: the condition that the first run printed.
        tints: (n, 4) percentages of patches that are on both.
        first, second: their CIELAB (n, 3).
    """
    terms, wanted = _terms(press, tints), (second - first).ravel()
    weight = np.ones(len(tints))
    for _ in range(ROUNDS):  # a patch that is dirty on one of them counts less
        rows = np.repeat(np.sqrt(weight), 3)
        scaled = terms * rows[:, None]
        inverse = np.linalg.pinv(scaled.T @ scaled, hermitian=True)
        solved = inverse @ (scaled.T @ (wanted * rows))
        size = np.linalg.norm((wanted - terms @ solved).reshape(-1, 3), axis=1)
        usual = max(float(np.median(size)), 0.05)
        weight = 1.0 / np.maximum(1.0, size / (2 * usual)) ** 2
    rest = (wanted - terms @ solved) * np.repeat(np.sqrt(weight), 3)
    variance = float(rest @ rest) / max(1.0, 3 * weight.sum() - terms.shape[1])
    error = np.sqrt(variance * np.maximum(np.diag(inverse), 0.0))
    return tuple(
        InkDrift(
            ink,
            float(solved[at]) * GAIN_STEP,
            float(np.hypot(error[at] * GAIN_STEP, GAIN_FLOOR)),
            float(solved[4 + at]) * FILM_STEP,
            float(np.hypot(error[4 + at] * FILM_STEP, FILM_FLOOR)),
        )
        for at, ink in enumerate(INKS)
        if tints[:, at].any()
    )


def _terms(press: PressCondition, tints: FloatArray) -> FloatArray:
    """What each step does to CIELAB, (3 n, terms): gains, films, paper and brightness, contrast."""
    from bible.colour.colorimetry import xyz_to_lab

    xyz, lab = press.xyz(tints), press.lab(tints)
    columns = []
    for ink in range(4):
        share = tints[:, ink] / 100.0
        step = 4 * share * (1 - share) * GAIN_STEP
        up, down = tints.copy(), tints.copy()
        up[:, ink], down[:, ink] = np.minimum(up[:, ink] + step, 100), np.maximum(down[:, ink] - step, 0)
        columns.append((press.lab(up) - press.lab(down)) / 2)
    for ink in range(4):
        without = tints.copy()
        without[:, ink] = 0.0
        # What the ink takes away on top of the others grows with its film; between its dots is what lies beneath.
        bare = press.xyz(without)
        taken = np.log(np.maximum(xyz, 1e-3) / np.maximum(bare, 1e-3))
        columns.append(xyz_to_lab(xyz * np.exp(FILM_STEP * taken)) - lab)
    for axis in range(3):
        columns.append(np.tile(np.eye(3)[axis], (len(tints), 1)))
    dark = (lab[:, 0] - press.lab(np.zeros((1, 4)))[0, 0]) / 50.0
    columns.append(dark[:, None] * np.array([1.0, 0.0, 0.0]))
    return np.stack([column.ravel() for column in columns], axis=1)
