"""What stands nearest to what on a chart, as it prints and as people with a colour-vision deficiency see it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from bible.colour.colorimetry import xyz_to_lab, xyz_to_srgb
from bible.colour.difference import delta_e_2000, neighbours
from bible.colour.lookalikes import (
    MAX_PAIRS,
    NORMAL,
    RISK_BANDS,
    LookAlike,
    look_alikes,
    misread_risks,
    risk_word,
    simulate,
)
from bible.colour.press import PressCondition
from bible.colour.tints import Tint, as_array

FloatArray = npt.NDArray[np.float64]

MATRIX_TINTS = 700
"""Charts up to this size are compared pair by pair (a quarter of a million pairs, some 0.1 s); larger ones are
sifted by plain distance in Lab first."""

SIFTED = 24
"""Candidates that plain distance in Lab leaves to CIEDE2000. The two disagree about the order of near neighbours,
hardly about which two dozen they are among."""


@dataclass(frozen=True, slots=True)
class Neighbour:
    """A chart tint near to another one: CIEDE2000 in print, and how easily one is mistaken for the other."""

    tint: Tint
    difference: float
    risk: float
    word: str


def seen_lab(press: PressCondition, tints: Sequence[Tint], vision: str = NORMAL) -> FloatArray:
    """Printed CIELAB (n, 3), D50 absolute, as somebody of this vision sees it. ValueError if it is unknown."""
    return xyz_to_lab(simulate(press.xyz(as_array(tints)), vision))


def seen_hexes(press: PressCondition, tints: Sequence[Tint], vision: str = NORMAL) -> list[str]:
    """Screen colours ``#rrggbb`` of tints as somebody of this vision sees them printed."""
    if vision == NORMAL:
        return press.hexes(tints)
    rgb, _ = xyz_to_srgb(simulate(press.xyz(as_array(tints)), vision))
    return ["#" + bytes(row).hex() for row in rgb]


def neighbours_of(
    press: PressCondition, tint: Tint, chart: Sequence[Tint], vision: str = NORMAL, count: int = 6
) -> tuple[Neighbour, ...]:
    """The chart tints nearest to one tint (itself left out), nearest first."""
    others = [other for other in chart if other != tint]
    if not others:
        return ()
    differences = delta_e_2000(seen_lab(press, others, vision), seen_lab(press, [tint], vision))
    chosen = [others[at] for at in np.argsort(differences, kind="stable")[:count]]
    return tuple(_neighbours(press, [tint] * len(chosen), chosen, vision))


@lru_cache(maxsize=32)
def nearest_on_chart(
    press: PressCondition, chart: tuple[Tint, ...], vision: str = NORMAL
) -> tuple[Neighbour | None, ...]:
    """For each chart tint the other one nearest to it; None on a chart of a single tint."""
    if len(chart) < 2:
        return (None,) * len(chart)
    lab = seen_lab(press, chart, vision)
    at = neighbours(lab, 1)[0][:, 0] if len(chart) <= MATRIX_TINTS else _sifted_nearest(lab)
    return tuple(_neighbours(press, chart, [chart[place] for place in at], vision))


def pair_words(
    press: PressCondition, first: Sequence[Tint], second: Sequence[Tint], vision: str = NORMAL
) -> list[str]:
    """The words of ``RISK_BANDS`` for pairs of tints."""
    if not first:
        return []
    risks = misread_risks(press, as_array(first), as_array(second), vision).risk
    return [risk_word(float(risk)) for risk in risks]


@lru_cache(maxsize=16)
def ranked_pairs(
    press: PressCondition, chart: tuple[Tint, ...], vision: str = NORMAL, at_least: str = RISK_BANDS[1].word
) -> tuple[LookAlike, ...]:
    """Pairs of chart tints from the riskiest down; on a chart too large for all pairs, among near neighbours."""
    if len(chart) * (len(chart) - 1) // 2 <= MAX_PAIRS:
        return tuple(look_alikes(press, chart, vision=vision, at_least=at_least))
    floor = next(band.start for band in RISK_BANDS if band.word == at_least)
    near = _tree_neighbours(seen_lab(press, chart, vision))
    pairs = np.unique(np.sort(np.stack([np.repeat(np.arange(len(chart)), SIFTED), near.ravel()], axis=1)), axis=0)
    tints = as_array(chart)
    risks = misread_risks(press, tints[pairs[:, 0]], tints[pairs[:, 1]], vision)
    ranked = []
    for row in np.argsort(-risks.risk, kind="stable"):
        risk = float(risks.risk[row])
        if risk < floor:
            break
        tint, other = (chart[place] for place in pairs[row])
        ranked.append(LookAlike(tint, other, risk, float(risks.difference[row]), risk_word(risk)))
    return tuple(ranked)


def _neighbours(press: PressCondition, first: Sequence[Tint], second: Sequence[Tint], vision: str) -> list[Neighbour]:
    pairs = misread_risks(press, as_array(first), as_array(second), vision)
    return [
        Neighbour(tint, float(difference), float(risk), risk_word(float(risk)))
        for tint, difference, risk in zip(second, pairs.difference, pairs.risk, strict=True)
    ]


def _tree_neighbours(lab: FloatArray) -> npt.NDArray[np.intp]:
    """(n, SIFTED) places of the others nearest by plain distance."""
    from scipy.spatial import cKDTree

    nearest = np.asarray(cKDTree(lab).query(lab, k=SIFTED + 1)[1])
    own = nearest == np.arange(len(lab))[:, None]
    own[~own.any(axis=1), -1] = True  # colours that coincide may have pushed the tint itself off its own list
    return np.asarray(nearest[~own].reshape(len(lab), SIFTED))


def _sifted_nearest(lab: FloatArray) -> npt.NDArray[np.intp]:
    near = _tree_neighbours(lab)
    differences = delta_e_2000(lab[near], lab[:, None, :])
    return np.asarray(near[np.arange(len(lab)), differences.argmin(axis=1)])
