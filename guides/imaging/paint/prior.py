"""What hands are like before any mark is seen: the learnt prior and the press condition's own.

The learnt part ships as ``prior.npz``, written by ``tests/guides/imaging/paint/make_paint_prior.py`` from simulated
hands: for each of several laws of paint, and for all together, the mean and a low-rank covariance of the 64 painted
colours; how much one tint varies from area to area; and the printed chart of each shipped press condition. No real
guide went into it: it is a set of assumptions about paint, wide on purpose, not a measurement.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

import numpy as np
import numpy.typing as npt

from bible.colour.charts import CHART_64
from bible.colour.press import DEFAULT_PRESS

FloatArray = npt.NDArray[np.float64]

TINTS = len(CHART_64)
SOFT = 0.02
"""The e of the density: below 2 % of the paper's light a scanner's noise says more than the paint does."""

PRIOR_FILE = Path(__file__).with_name("prior.npz")


def density(rgb: FloatArray) -> FloatArray:
    """Density (..., 3) of linear RGB relative to paper; 0 is bare paper, 3.9 the deepest."""
    return np.asarray(-np.log((np.clip(rgb, 0.0, None) + SOFT) / (1.0 + SOFT)))


@dataclass(frozen=True, eq=False)
class Component:
    """One kind of hand: ``mean`` (192,) and ``cov`` (192, 192) of its 64 x 3 densities."""

    name: str
    log_weight: float
    mean: FloatArray
    cov: FloatArray


@dataclass(frozen=True, eq=False)
class PaintPrior:
    """A mixture of kinds of hands, and ``noise`` (64, 3, 3), how one tint varies from mark to mark."""

    components: tuple[Component, ...]
    noise: FloatArray

    def with_paper_error(self, error: float) -> PaintPrior:
        """The same hands seen on a page whose paper is known to ``error`` (density): it shifts all readings alike."""
        common = np.kron(np.ones((TINTS, TINTS)), error**2 * np.eye(3))
        return PaintPrior(tuple(replace(kind, cov=kind.cov + common) for kind in self.components), self.noise)


@lru_cache(maxsize=8)
def load_prior(press: str = DEFAULT_PRESS, path: Path = PRIOR_FILE) -> PaintPrior:
    """The shipped prior, with hands that copy the printed chart of ``press`` among the others.

    Raises:
        UnknownPress: there is no such condition.
    """
    with np.load(path) as data:
        means, factors, rests = (data[key].astype(np.float64) for key in ("means", "factors", "rests"))
        names, noise = data["names"], data["noise"].astype(np.float64)
        stored = {str(name): chart for name, chart in zip(data["presses"], data["printed"], strict=True)}
    printed = stored[press].astype(np.float64) if press in stored else printed_density(press)
    kinds = [
        (str(name), mean, factor @ factor.T + np.diag(rest))
        for name, mean, factor, rest in zip(names, means, factors, rests, strict=True)
    ]
    kinds.append((f"copies {press}", *_copyist(printed)))
    weight = -float(np.log(len(kinds)))
    return PaintPrior(tuple(Component(name, weight, mean, cov) for name, mean, cov in kinds), noise)


def printed_density(press: str) -> FloatArray:
    """Density (64, 3) of the printed chart relative to its paper, as a screen shows it.

    Raises:
        UnknownPress: there is no such condition.
    """
    from bible.colour.colorimetry import xyz_to_srgb
    from bible.colour.press import load

    coded = np.asarray(xyz_to_srgb(load(press).relative_xyz(CHART_64.array))[0]) / 255.0
    return density(np.where(coded <= 0.04045, coded / 12.92, ((coded + 0.055) / 1.055) ** 2.4))


RICHER = 1.3
"""Paint's density over print's: "dyes are far richer than ink on newsprint" (common practice, no source)."""

RICHER_SPREAD, CROSSTALK, WAYWARD = 0.35, 0.15, 0.12
"""Spread of that factor by channel, of one channel's share in another, and (density) of what no factor explains."""


def _copyist(printed: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Mean (192,) and covariance (192, 192) of hands that paint the printed colours (64, 3), only richer.

    A linear map of the printed densities with normal coefficients, plus a smooth Gaussian process over the strengths
    of the three inks for the rest; bare paper stays paper.
    """
    cov = np.zeros((TINTS, 3, TINTS, 3))
    levels = np.stack([np.unique(ink, return_inverse=True)[1] / 3.0 for ink in CHART_64.array[:, :3].T], axis=1)
    apart = ((levels[:, None] - levels[None]) ** 2).sum(axis=2)
    painted = (CHART_64.array.sum(axis=1) > 0).astype(np.float64)
    rest = WAYWARD**2 * np.exp(-apart / (2 * 0.5**2)) * np.outer(painted, painted)
    for channel in range(3):
        spread = np.full(3, CROSSTALK)
        spread[channel] = RICHER_SPREAD
        cov[:, channel, :, channel] = (printed * spread**2) @ printed.T + rest + 1e-5 * np.eye(TINTS)
    return (RICHER * printed).ravel(), cov.reshape(3 * TINTS, 3 * TINTS)
