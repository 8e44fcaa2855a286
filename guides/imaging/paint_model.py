"""How a hand paints its tints: a Bayesian model of 64 painted colours, learnt from marks whose codes are known.

Colours live in *density*: d = -ln((r + e) / (1 + e)) for each linear RGB channel r relative to the bare paper, where
layers of dye add up. A hand is a vector of 64 x 3 densities. What hands are like is a mixture of Gaussians over that
vector (``paint_prior``): several models of paint, none of which is trusted alone. Marks with codes are noisy looks at
blocks of the vector, so everything that follows is exact linear algebra (Rasmussen and Williams 2006, chapter 2): the
mixture's weights by marginal likelihood, the other tints by conditioning, leave-one-out by taking one look back.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from guides.imaging.paint_prior import TINTS, Component, PaintPrior

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int_]

NOISE_SCALES = (0.35, 0.5, 0.7, 1.0, 1.4, 2.0)
"""How unevenly this hand works, against the average simulated hand; the marks themselves choose by likelihood."""

KEPT_WEIGHT = 0.003
"""Mixture members below this weight change no probability that anybody reads."""

STRAY = 0.004
"""Chance that a reading has nothing to do with the tint at its mark (a blot, a neighbour's paint)."""

STRAY_LOG_DENSITY = -3.0 * float(np.log(3.0))
"""Such a reading may be anything: flat over a cube of three density units a side."""


@dataclass(frozen=True, eq=False)
class Member:
    """One member of the mixture after seeing marks: a component with a noise scale.

    ``mean`` (64, 3) and ``cov`` (192, 192) of the hand's densities, ``noise`` (64, 3, 3) of one mark.
    """

    log_weight: float
    mean: FloatArray
    cov: FloatArray
    noise: FloatArray

    @cached_property
    def blocks(self) -> FloatArray:
        """The covariance of each tint's own colour (64, 3, 3)."""
        return np.ascontiguousarray(np.einsum("titj->tij", self.cov.reshape(TINTS, 3, TINTS, 3)))


def log_normal(residual: FloatArray, cov: FloatArray) -> FloatArray:
    """Log density of three-dimensional normals: residual (..., 3), cov (..., 3, 3)."""
    inverse = np.linalg.inv(cov)
    distance = np.einsum("...i,...ij,...j->...", residual, inverse, residual)
    return np.asarray(-0.5 * (distance + np.linalg.slogdet(cov)[1] + 3.0 * np.log(2.0 * np.pi)))


def _condition(component: Component, noise: FloatArray, y: FloatArray, tints: IntArray, extra: FloatArray) -> Member:
    mean, cov = component.mean, component.cov
    if not len(tints):
        return Member(component.log_weight, mean.reshape(TINTS, 3), cov, noise)
    places = (tints[:, None] * 3 + np.arange(3)).ravel()
    count = len(tints)
    look = np.zeros((count, 3, count, 3))
    own = np.arange(count)
    look[own, :, own, :] = noise[tints] + extra
    total = cov[np.ix_(places, places)] + look.reshape(3 * count, 3 * count)
    lower = np.linalg.cholesky(total)
    residual = np.linalg.solve(lower, (y.ravel() - mean[places]))
    gain = np.linalg.solve(lower, cov[places])
    likelihood = -0.5 * (residual @ residual) - np.log(np.diag(lower)).sum() - 1.5 * count * np.log(2 * np.pi)
    after = mean + gain.T @ residual
    return Member(component.log_weight + likelihood, after.reshape(TINTS, 3), cov - gain.T @ gain, noise)


@dataclass(frozen=True, eq=False)
class HandModel:
    """What is known of a hand after some marks.

    ``y`` (n, 3) densities of the marks it learnt from, ``tints`` (n,) their places on the chart, ``extra`` (n, 3, 3)
    the uncertainty of each reading.
    """

    members: tuple[Member, ...]
    y: FloatArray
    tints: IntArray
    extra: FloatArray

    @classmethod
    def learn(cls, prior: PaintPrior, y: FloatArray, tints: IntArray, extra: FloatArray) -> HandModel:
        """The hand as the marks show it; no marks leave the prior."""
        members = [
            _condition(component, prior.noise * scale**2, y, tints, extra)
            for component in prior.components
            for scale in NOISE_SCALES
        ]
        best = max(member.log_weight for member in members)
        total = np.log(sum(np.exp(member.log_weight - best) for member in members)) + best
        kept = tuple(
            Member(member.log_weight - total, member.mean, member.cov, member.noise)
            for member in members
            if member.log_weight - total > np.log(KEPT_WEIGHT)
        )
        return cls(kept, y, tints, extra)

    def log_likelihood(self, y: FloatArray, extra: FloatArray) -> FloatArray:
        """Log density (n, 64) of new readings ``y`` (n, 3) if they were of each tint; ``extra`` (n, 3, 3)."""
        parts = [
            member.log_weight + log_normal(y[:, None, :] - member.mean, member.blocks + member.noise + extra[:, None])
            for member in self.members
        ]
        return _with_strays(_log_sum(parts))

    def log_likelihood_without(self, which: IntArray) -> FloatArray:
        """Log density (m, 64) of the learnt marks ``which``, each judged by the hand as the *other* marks show it.

        Exact: the mark's own look is taken back from every member and from the members' weights.
        """
        y, tints, extra = self.y[which], self.tints[which], self.extra[which]
        parts, weights = [], []
        for member in self.members:
            cov = member.cov.reshape(TINTS, 3, TINTS, 3)
            toward = np.moveaxis(cov[:, :, tints, :], 2, 0)  # (m, 64, 3, 3)
            own = member.blocks[tints]
            look = member.noise[tints] + extra
            gain = toward @ np.linalg.inv(own - look)[:, None]
            mean = member.mean + np.einsum("mtij,mj->mti", gain, y - member.mean[tints])
            blocks = member.blocks - gain @ np.swapaxes(toward, 2, 3)
            density = log_normal(y[:, None] - mean, blocks + member.noise + extra[:, None])
            weight = member.log_weight - density[np.arange(len(which)), tints]
            parts.append(weight[:, None] + density)
            weights.append(weight)
        return _with_strays(_log_sum(parts) - _log_sum(weights)[:, None])


def _log_sum(parts: Sequence[FloatArray]) -> FloatArray:
    return np.asarray(np.logaddexp.reduce(np.stack(parts), axis=0))


def _with_strays(log_density: FloatArray) -> FloatArray:
    return np.asarray(np.logaddexp(np.log1p(-STRAY) + log_density, np.log(STRAY) + STRAY_LOG_DENSITY))
