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

from guides.imaging.paint.prior import TINTS, Component, PaintPrior

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int_]

NOISE_SCALES = (0.35, 0.5, 0.7, 1.0, 1.4, 2.0)
"""How unevenly this hand works, against the average simulated hand; the marks themselves choose by likelihood."""

KEPT_WEIGHT = 0.003
"""Mixture members below this weight change no probability that anybody reads."""

FADE_SHARES = (0.85, 0.7, 0.55, 0.4)
"""How much of a gradient's first tint may be left where its mark stands."""

FADE_SPREAD = 0.1
"""Density within which a place on the way is hit."""

STRAY = 0.01
"""Chance that a reading is far off its tint (a blot, a neighbour's paint, a brush not rinsed)."""

STRAY_SPREAD = 0.5
"""How far (density) such a reading lies from its tint; near tints stay likelier than far ones."""


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
    """Log density of three-dimensional normals: residual (..., 3), cov (..., 3, 3) symmetric."""
    return log_normal_of(np.moveaxis(residual, -1, 0), planes(cov))


def planes(cov: FloatArray) -> FloatArray:
    """The six numbers (6, ...) of symmetric matrices (..., 3, 3), each in a plane of its own."""
    return np.stack([cov[..., row, column] for row in range(3) for column in range(row, 3)])


def log_normal_of(residual: FloatArray, cov: FloatArray) -> FloatArray:
    """Log density of normals: residual (3, ...), cov (6, ...) as ``planes`` gives it.

    Eliminated by hand: a page asks for hundreds of thousands of these.
    """
    (x, y, z), (a, b, c, d, e, f) = residual, cov
    y, z = y - x * (b / a), z - x * (c / a)
    d, e, f = d - b * (b / a), e - b * (c / a), f - c * (c / a)
    z, f = z - y * (e / d), f - e * (e / d)
    distance = x * x / a + y * y / d + z * z / f
    return np.asarray(-0.5 * (distance + np.log(a * d * f) + 3.0 * np.log(2.0 * np.pi)))


@dataclass(frozen=True, eq=False)
class _Looks:
    """Marks gathered by tint: every look at one tint in a single, sharper one.

    ``places`` (3 k,) of the k tints in the vector, ``y`` (3 k,), ``cov`` (3 k, 3 k) block diagonal; ``evidence`` what
    the gathering leaves out of the log likelihood.
    """

    places: IntArray
    y: FloatArray
    cov: FloatArray
    evidence: float

    @classmethod
    def gather(cls, y: FloatArray, tints: IntArray, cov: FloatArray) -> _Looks:
        distinct, which = np.unique(tints, return_inverse=True)
        precision = np.linalg.inv(cov).astype(np.float64)
        total, pull = np.zeros((len(distinct), 3, 3)), np.zeros((len(distinct), 3))
        np.add.at(total, which, precision)
        np.add.at(pull, which, np.einsum("nij,nj->ni", precision, y))
        each = np.linalg.inv(total).astype(np.float64)
        centre = np.einsum("kij,kj->ki", each, pull)
        evidence = log_normal(y - centre[which], cov).sum() - log_normal(np.zeros_like(centre), each).sum()
        block = np.zeros((len(distinct), 3, len(distinct), 3))
        own = np.arange(len(distinct))
        block[own, :, own, :] = each
        size = 3 * len(distinct)
        places = (distinct[:, None] * 3 + np.arange(3)).ravel()
        return cls(places, centre.ravel(), block.reshape(size, size), float(evidence))


def _evidence(component: Component, looks: _Looks) -> tuple[float, FloatArray]:
    """The log weight of a component after the looks, and the Cholesky factor of what it expects of them."""
    expected = component.cov[np.ix_(looks.places, looks.places)] + looks.cov
    lower = np.linalg.cholesky(expected).astype(np.float64)
    white = np.linalg.solve(lower, looks.y - component.mean[looks.places])
    likelihood = -0.5 * (white @ white) - np.log(np.diag(lower)).sum() - 0.5 * len(white) * np.log(2 * np.pi)
    return component.log_weight + looks.evidence + float(likelihood), lower


def _conditioned(component: Component, looks: _Looks, lower: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Mean (64, 3) and covariance (192, 192) of the hand after the looks."""
    white = np.linalg.solve(
        lower, np.column_stack([looks.y - component.mean[looks.places], component.cov[looks.places]])
    )
    gain = white[:, 1:]
    return (component.mean + gain.T @ white[:, 0]).reshape(TINTS, 3), component.cov - gain.T @ gain


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
        tried = []
        for scale in NOISE_SCALES:
            noise = prior.noise * scale**2
            looks = _Looks.gather(y, tints, noise[tints] + extra)
            tried += [(*_evidence(component, looks), component, looks, noise) for component in prior.components]
        weights = np.array([weight for weight, *_ in tried])
        weights -= np.logaddexp.reduce(weights)
        kept = tuple(
            Member(float(weight), *_conditioned(component, looks, lower), noise)
            for weight, (_, lower, component, looks, noise) in zip(weights, tried, strict=True)
            if weight > np.log(KEPT_WEIGHT)
        )
        return cls(kept, y, tints, extra)

    @property
    def mean(self) -> FloatArray:
        """The hand's densities (64, 3) as far as they are known."""
        return np.asarray(sum(np.exp(member.log_weight) * member.mean for member in self.members))

    def log_likelihood_of_fades(self, y: FloatArray, cov: FloatArray, tints: IntArray) -> FloatArray:
        """Log density (n,) of readings somewhere on a fade from each one's own tint to whichever other.

        Every other tint and several places on the way count alike; ``cov`` (n, 3, 3) is that of the readings.
        """
        mean = self.mean
        own, other = mean[tints][:, None, None, :], mean[None, :, None, :]
        share = np.array(FADE_SHARES)[:, None]
        onward = own * share + other * (1.0 - share)  # (n, 64, shares, 3)
        spread = (cov + FADE_SPREAD**2 * np.eye(3))[:, None, None]
        each = log_normal(y[:, None, None, :] - onward, spread).reshape(len(y), -1)
        return np.asarray(np.logaddexp.reduce(each, axis=1) - np.log(each.shape[1]))

    def log_likelihood(self, y: FloatArray, extra: FloatArray) -> FloatArray:
        """Log density (n, 64) of new readings ``y`` (n, 3) if they were of each tint; ``extra`` (n, 3, 3)."""
        seen, doubt = y.T[:, :, None], planes(extra)[:, :, None]
        parts = [
            member.log_weight
            + log_normal_of(seen - member.mean.T[:, None], planes(member.blocks + member.noise)[:, None] + doubt)
            for member in self.members
        ]
        return self._with_strays(_log_sum(parts), y)

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
        return self._with_strays(_log_sum(parts) - _log_sum(weights)[:, None], y)

    def _with_strays(self, log_density: FloatArray, y: FloatArray) -> FloatArray:
        far = ((y[:, None] - self.mean) ** 2).sum(axis=2) / (-2 * STRAY_SPREAD**2)
        far -= 1.5 * np.log(2 * np.pi * STRAY_SPREAD**2)
        return np.asarray(np.logaddexp(np.log1p(-STRAY) + log_density, np.log(STRAY) + far))


def _log_sum(parts: Sequence[FloatArray]) -> FloatArray:
    return np.asarray(np.logaddexp.reduce(np.stack(parts), axis=0))
