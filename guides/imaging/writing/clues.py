"""What a written code says about the part it stands for: its readings and paint, against every code of the bible."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from bible.colour.tints import Tint

FloatArray = npt.NDArray[np.float64]

WRONG = 0.06
"""Share of codes that are not their part's: miswritten, or painted after another code (a guess: no source)."""

PAINT_RIGHT = 0.6
"""Of those, the share where only the writing is wrong and the paint is still the part's (a guess: no source)."""

SLIP = 0.7
"""Of wrong codes, the share that differ in one ink only."""

TINTS = 64
"""Tints of a usual chart: what a code or a paint may be when nothing is known."""

PAINT_TRUST = 0.9
"""Weight of what the paint says; the rest is spread over all tints, since dyes are no measurement."""

PART_SIZE, GROUND_SIZE = (-2.5, 0.65), (-1.75, 0.75)
"""Mean and spread of the logarithm of an area's side, in sides of its panel: of parts of figures and of background,
on drawn pages of our own."""

MOST_BY_SIZE = 2.0


@dataclass(frozen=True)
class Clue:
    """A written code before anybody has asked whose part it is.

    Attributes:
        x, y: the place it means, in pixels of the picture.
        area: id of the area there, 0 for none; ``panel`` the panel's number.
        readings: tints it may say, likeliest first, with chances; those of unread codes are missing from the sum.
        paint: tints the area may be painted in, with chances; empty where nothing is known.
        size: side in pixels of a square as large as the area, 0 where it is not known.
        doubts: what else the code may mean, in the same panel.
    """

    x: float
    y: float
    area: int
    panel: int
    readings: tuple[tuple[Tint, float], ...]
    paint: tuple[tuple[Tint, float], ...] = ()
    size: float = 0.0
    doubts: tuple[Doubt, ...] = ()


@dataclass(frozen=True)
class Doubt:
    """Another clue that a code may be, and the log odds of that against the first one, whosever part it is."""

    clue: Clue
    odds: float


@dataclass(frozen=True)
class ClueAgreement:
    """How codes and paint speak for tints.

    Attributes:
        tints: the tints that matter on this page; places in it index the columns.
        gain: (clues, tints) log chance of a clue's writing and paint if its part's code is that tint, over the chance
            if it is nobody's.
        exact: (clues, tints) the chance that the writing says that tint.
    """

    tints: dict[Tint, int]
    gain: FloatArray
    exact: FloatArray


def agree(clues: Sequence[Clue], expected: Sequence[Tint | None]) -> ClueAgreement:
    """Weigh all clues of a page against all tints the bible expects."""
    known = dict.fromkeys(t for t in expected if t is not None)
    for clue in clues:
        known |= dict.fromkeys(t for t, _ in (*clue.readings, *clue.paint))
    tints = {tint: place for place, tint in enumerate(known)}
    count = max(len(tints), 1)
    written = _spread(clues, tints, 1.0)
    painted = _spread(clues, tints, PAINT_TRUST)
    slips = _slips(list(tints), count)
    both = written * painted
    only_paint = (written @ slips.T) * painted
    neither = both @ slips.T
    own = (1 - WRONG) * both + WRONG * (PAINT_RIGHT * only_paint + (1 - PAINT_RIGHT) * neither)
    flat = np.full((count, count), 1 / TINTS)
    anybody = (1 - WRONG) * both.sum(axis=1) / TINTS + WRONG * (
        PAINT_RIGHT * ((written @ flat) * painted).sum(axis=1) / TINTS + (1 - PAINT_RIGHT) * both.sum(axis=1) / TINTS
    )
    gain = np.log(own + 1e-12) - np.log(anybody + 1e-12)[:, None]
    return ClueAgreement(tints, gain, written)


def _spread(clues: Sequence[Clue], tints: dict[Tint, int], trust: float) -> FloatArray:
    """Chances (clues, tints) of readings (``trust`` 1) or paint; what is missing from a sum is spread over all."""
    table = np.zeros((len(clues), max(len(tints), 1)))
    for row, clue in enumerate(clues):
        for tint, p in clue.readings if trust == 1.0 else clue.paint:
            table[row, tints[tint]] += trust * p
    rest = np.clip(1 - table.sum(axis=1, keepdims=True), 0.0, 1.0)
    return np.asarray(table + rest / TINTS + 1e-6)


def _slips(tints: Sequence[Tint], count: int) -> FloatArray:
    """Chance (meant, written) of a wrong code: mostly one ink off, else anything."""
    inks = np.array([tint.percentages for tint in tints] or [(0, 0, 0, 0)])
    away = (inks[:, None] != inks[None]).sum(axis=2)
    near = (away == 1) / 9.0  # three inks, three other strengths each
    return np.asarray(SLIP * near + (1 - SLIP) * (away > 0) / TINTS).reshape(count, count)


def smallness(sides: FloatArray) -> FloatArray:
    """Log odds (n,) for part of a figure against background, by the side of an area in sides of its panel; 0 where
    the area is not known."""
    log = np.log(np.maximum(sides, 1e-4))

    def density(size: tuple[float, float]) -> FloatArray:
        return np.asarray(-0.5 * ((log - size[0]) / size[1]) ** 2 - np.log(size[1]))

    return np.where(sides > 0, np.clip(density(PART_SIZE) - density(GROUND_SIZE), -MOST_BY_SIZE, MOST_BY_SIZE), 0.0)
