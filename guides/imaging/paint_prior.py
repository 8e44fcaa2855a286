"""What hands are like before any mark is seen: the learnt prior and the press condition's own.

The learnt part ships as ``paint_prior.npz``: for groups of simulated hands (see ``make_prior`` in the tests' own
``tests/guides/imaging/make_paint_prior.py``, which wrote it) the mean and a low-rank covariance of the 64 painted
colours, and how much one tint varies from area to area. No real guide went into it: it is a set of assumptions about
paint, wide on purpose, not a measurement.
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

PRIOR_FILE = Path(__file__).with_name("paint_prior.npz")


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


@lru_cache(maxsize=4)
def load_prior(press: str = DEFAULT_PRESS, path: Path = PRIOR_FILE) -> PaintPrior:
    """The shipped prior."""
    with np.load(path) as data:
        means, factors, rests = (data[key].astype(np.float64) for key in ("means", "factors", "rests"))
        names, weights, noise = data["names"], data["weights"].astype(np.float64), data["noise"].astype(np.float64)
    components = tuple(
        Component(str(name), float(np.log(weight)), mean, factor @ factor.T + np.diag(rest))
        for name, weight, mean, factor, rest in zip(names, weights, means, factors, rests, strict=True)
    )
    return PaintPrior(components, noise)
