"""Writes ``guides/imaging/paint/prior.npz`` from simulated hands of the TRAINING families.

Run from the checkout: ``python -m tests.guides.imaging.paint.make_paint_prior [OUT]``; the same file every
time.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

from bible.colour.press import available
from guides.imaging.paint.prior import PRIOR_FILE, TINTS, density, printed_density
from tests.guides.imaging.paint.paint_hands import HARD, TRAINING, FloatArray, make_hand

HANDS = 1200
RANK = 48
SEED = 20240


def simulate(family: str, count: int, rng: np.random.Generator) -> tuple[FloatArray, FloatArray]:
    """Densities (count, 192) of hands of a family, and the mean covariance (64, 3, 3) of one tint's areas."""
    everything = np.arange(TINTS)
    charts, spread = [], np.zeros((TINTS, 3, 3))
    for number in range(count):
        hand = make_hand(family, rng)
        charts.append(density(hand.chart()).ravel())
        if number % 4 == 0:
            areas = np.stack([density(hand.paint(everything, rng, HARD)) for _ in range(6)])
            spread += np.einsum("nti,ntj->tij", areas - areas.mean(0), areas - areas.mean(0)) / 5
    return np.array(charts), spread / ((count + 3) // 4)


def squeeze(charts: FloatArray, rank: int = RANK) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Mean (192,), factor (192, rank) and left-over variance (192,) of hands (n, 192)."""
    mean = charts.mean(axis=0)
    _, scale, basis = np.linalg.svd(charts - mean, full_matrices=False)
    factor = (basis[:rank] * (scale[:rank, None] / np.sqrt(len(charts) - 1))).T
    return mean, factor, np.clip((charts - mean).var(axis=0, ddof=1) - (factor**2).sum(axis=1), 0.0, None) + 1e-4


def make_prior(hands: int = HANDS, families: tuple[str, ...] = tuple(TRAINING)) -> dict[str, np.ndarray]:
    rng = np.random.default_rng(SEED)
    simulated = {family: simulate(family, hands, rng) for family in families}
    groups = {family: charts for family, (charts, _) in simulated.items()}
    groups["any"] = np.concatenate([charts[: hands // 2] for charts in groups.values()])
    squeezed = [squeeze(charts) for charts in groups.values()]
    noise = np.mean([spread for _, spread in simulated.values()], axis=0)
    means, factors, rests = (np.array(part) for part in zip(*squeezed, strict=True))
    rests[-1] += 0.01**2
    return {
        "names": np.array(list(groups)),
        "means": means.astype(np.float32),
        "factors": factors.astype(np.float16),
        "rests": rests.astype(np.float32),
        "presses": np.array([info.name for info in available()]),
        "printed": np.array([printed_density(info.name) for info in available()], dtype=np.float32),
        "noise": (noise + 2e-5 * np.eye(3)).astype(np.float32),
    }


if __name__ == "__main__":
    np.savez_compressed(Path(sys.argv[1]) if len(sys.argv) > 1 else PRIOR_FILE, **make_prior())  # type: ignore[arg-type]
