"""How far a reading can be believed: logistic odds fitted on hands that the networks did not learn from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

Doubles = npt.NDArray[np.float64]

FACTS = (
    "bias", "posterior", "runner-up", "free way", "columns", "code", "height", "signs", "sure", "unlike high",
    "unlike turned",
)  # fmt: skip
"""What the odds are made of, in the order of ``facts``."""

FEW = 2.0
"""Codes beside a word from which their height and turn begin to say something."""

FURTHEST = 8.0
"""Odds are not believed beyond e to this power."""


@dataclass(frozen=True)
class Odds:
    """Weights of ``FACTS``: ``code`` for "this is a code", ``right`` for "and it says so"."""

    temperature: float
    code: tuple[float, ...]
    right: tuple[float, ...]

    @classmethod
    def of(cls, ledger: dict[str, Any]) -> Odds:
        """From what stands in ``weights.json``."""
        odds = ledger["odds"]
        return cls(float(odds["temperature"]), tuple(odds["code"]), tuple(odds["right"]))

    def chances(self, facts: Doubles) -> tuple[Doubles, Doubles]:
        """For facts (n, FACTS): that it is a code, and that it is one and read rightly."""
        return _sigmoid(facts @ np.array(self.code)), _sigmoid(facts @ np.array(self.right))


def _sigmoid(x: Doubles) -> Doubles:
    return np.asarray(1 / (1 + np.exp(-np.clip(x, -30, 30))), np.float64)


def _logit(p: Doubles) -> Doubles:
    return np.asarray(np.clip(np.log(np.maximum(p, 1e-12) / np.maximum(1 - p, 1e-12)), -FURTHEST, FURTHEST))


def posteriors(logs: npt.NDArray[np.float32], temperature: float) -> Doubles:
    """Likelihoods (n, codes) as chances that add up to 1 over the lexicon."""
    scaled = logs.astype(np.float64) / temperature
    shares = np.exp(scaled - scaled.max(axis=1, keepdims=True))
    return np.asarray(shares / shares.sum(axis=1, keepdims=True))


def facts(shares: Doubles, logs: npt.NDArray[np.float32], free: npt.NDArray[np.float32], columns: Doubles,
          code: Doubles, height: Doubles, turn: Doubles, signs: Doubles, sure: Doubles) -> Doubles:  # fmt: skip
    """What odds are made of, (n, FACTS).

    Args:
        shares: posteriors (n, codes). logs: their log likelihoods. free: log likelihood of the free reading.
        columns: of the crops. code: the finder's chance of one. height: pixels. signs: of the free text.
        sure: the finder's heart.
    """
    ordered = np.sort(shares, axis=1)[:, ::-1]
    second = ordered[:, 1] if ordered.shape[1] > 1 else np.zeros(len(shares))
    gap = np.clip(logs.max(axis=1).astype(np.float64) - free, -25.0, 3.0)
    weights = (code * ordered[:, 0]) ** 2
    return np.column_stack([
        np.ones(len(shares)), _logit(ordered[:, 0]), np.log(np.maximum(second, 1e-6)) / 4, gap / 5,
        np.clip(free, -25, 0) / np.maximum(columns, 4) * 10, _logit(code) / 2,
        np.log(np.clip(height, 5, 60) / 20), np.minimum(signs, 14) / 10, _logit(sure) / 3,
        np.minimum(unlike(np.log(height), weights), 1.0), 2 * np.minimum(unlike(turn, weights), 0.5),
    ])  # fmt: skip


def unlike(values: Doubles, weights: Doubles) -> Doubles:
    """How far each of the values (n,) lies from the weighted median of the others, less where those weigh little: a
    page's codes are of one height and lie one way, as they are one person's."""
    if not len(values):
        return values
    order = np.argsort(values)
    others = np.where(np.eye(len(values), dtype=bool), 0.0, weights)[:, order]
    summed = others.cumsum(axis=1)
    total = summed[:, -1:]
    middle = values[order][np.argmax(summed >= total / 2, axis=1)]
    return np.asarray(np.abs(values - middle) * (total / (total + FEW))[:, 0])
