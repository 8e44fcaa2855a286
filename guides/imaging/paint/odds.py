"""From likelihoods to chances: which code a mark carries, and whether the written one is wrong."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.special import gammaln

from bible.colour.charts import CHART_64

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int_]
BoolArray = npt.NDArray[np.bool_]

TINTS = len(CHART_64)

REUSE = (8.0, 24.0, 64.0, 200.0, 2000.0)
"""How strongly a page comes back to the tints it has: concentrations of a Dirichlet prior, averaged by how well each
predicts the codes seen. The last is "hardly at all"."""

WRONG = 0.05
"""Share of codes miswritten or misread before anything is known of a page (common practice, no source)."""

MISREAD, LOOKS = 0.022, 20.0
"""Share of marks whose reading is of something else than their own paint, as long as a page says nothing of that, and
how many marks that expectation counts for. On simulated pages of two families it is none and 4 of 100: it takes more
than two dozen confirmed marks that agree before more than 99 % can be claimed of another."""

SLIP = 0.8
"""Of those, the share that are slips of one ink by one or more strengths (Y3 for Y2); the rest are anything."""


def _slips() -> FloatArray:
    """Chance (64 written, 64 meant) of the meant tint given a wrong written one."""
    differing = (CHART_64.array[:, None, :] != CHART_64.array[None, :, :]).sum(axis=2)
    near = (differing == 1) / np.maximum((differing == 1).sum(axis=1, keepdims=True), 1)
    far = (differing >= 1) / (TINTS - 1)
    return np.asarray(SLIP * near + (1.0 - SLIP) * far)


_MEANT = _slips()


def code_prior(tints: IntArray) -> FloatArray:
    """Chance (64,) of each tint for the next mark of a page that holds ``tints`` (n,)."""
    return _next_code(np.bincount(tints, minlength=TINTS).astype(np.float64))


def code_prior_without(tints: IntArray, left_out: IntArray) -> FloatArray:
    """The same (n, 64) for marks that carry ``left_out`` (n,), each with one mark of its tint taken away if there is
    one."""
    counts = np.bincount(tints, minlength=TINTS).astype(np.float64)
    each = np.empty((TINTS, TINTS))
    for tint in np.unique(left_out):
        fewer = counts.copy()
        fewer[tint] = max(0.0, fewer[tint] - 1.0)
        each[tint] = _next_code(fewer)
    return each[left_out]


def _next_code(counts: FloatArray) -> FloatArray:
    seen = int(counts.sum())
    evidence, predictions = [], []
    for strength in REUSE:
        share = strength / TINTS
        chance = float((gammaln(share + counts) - gammaln(share)).sum())
        evidence.append(chance - float(gammaln(strength + seen) - gammaln(strength)))
        predictions.append((counts + share) / (seen + strength))
    weight = np.exp(np.array(evidence) - max(evidence))
    return np.asarray((weight / weight.sum()) @ np.array(predictions))


def misread(wrong: FloatArray) -> float:
    """Chance that a mark of the page is misread, from the chances (n,) that its written codes are wrong: where paint
    and codes part often, what the paint says of the others is worth less."""
    return float((MISREAD * LOOKS + (wrong > 0.5).sum()) / (LOOKS + len(wrong)))


def doubted(chances: FloatArray, share: FloatArray | float) -> FloatArray:
    """Chances (n, 64) where a share (n, 1) of such marks is misread: anything may be meant, the order is the same."""
    return (1.0 - share) * chances + share / TINTS


def posterior(log_likelihood: FloatArray, codes: FloatArray) -> FloatArray:
    """Chances (n, 64) of the tints from log likelihoods (n, 64) and their chances (64,) beforehand."""
    log = log_likelihood + np.log(codes)
    log -= log.max(axis=1, keepdims=True)
    chances = np.exp(log)
    return np.asarray(chances / chances.sum(axis=1, keepdims=True))


def chance_of_wrong(
    log_likelihood: FloatArray, as_written: FloatArray, written: IntArray, codes: FloatArray
) -> FloatArray:
    """Chance (n,) that the written codes are not what was painted.

    Compares the paint's likelihood under the written tint with that under whatever else may have been meant: slips of
    one ink first, tints that the page uses before others. A tint that the page uses nowhere else is the likelier
    slip, but only by the square root: some page has to use it for the first time.

    Args:
        log_likelihood: (n, 64) of the readings for every tint.
        as_written: (n,) of the readings if the written code is right.
        written: (n,) places of the written tints on the chart.
        codes: (n, 64) chances of the tints on this page as its other marks have it.
    """
    usual = np.sqrt(codes)
    meant = _MEANT[written] * usual
    top = np.maximum(log_likelihood.max(axis=1), as_written)
    likelihood = np.exp(log_likelihood - top[:, None])
    right = (1.0 - WRONG) * usual[np.arange(len(written)), written] * np.exp(as_written - top)
    wrong = WRONG * (meant * likelihood).sum(axis=1)
    return np.asarray(wrong / np.maximum(right + wrong, 1e-300))
