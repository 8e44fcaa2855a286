"""Look-alikes: which tints a reader may mistake for each other in print.

Each tint prints as a cloud of colours, because dot gain and ink film wander through a run, and the reader's own
memory of a colour is not sharp. The risk of a pair is the chance that a print of one lies nearer to the other,
for two clouds of equal weight (the overlap of two Gaussians), in the geometry of CIEDE2000 between them. The
number ranks pairs; it is no forecast of how many readers will err, so screens show the ranking and its words.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from bible.colour.colorimetry import linear_srgb_to_xyz, xyz_to_lab, xyz_to_linear_srgb
from bible.colour.difference import local_geometry
from bible.colour.press import PressCondition, checked_percentages
from bible.colour.science import DEFICIENCIES, deficiency_matrix
from bible.colour.tints import Tint, as_array

FloatArray = npt.NDArray[np.float64]
IndexArray = npt.NDArray[np.intp]

TONE_VARIATION = 4.0
"""Standard deviation of a 50 % dot in percentage points, per ink; it falls to 0 at paper and solid.

ISO 12647-2 allows production prints 4 points around the proof at mid-tone for most screens (from memory)."""

FILM_VARIATION = 0.07
"""Standard deviation of the ink film's thickness, as a share of it: some 0.1 of density in a solid (common
practice, no source)."""

READER_VARIATION = 2.0
"""Standard deviation of the reader's own judgement in CIEDE2000 units, each way. A colour kept in mind from
another page is less sharp than one seen beside another; 2 is double the threshold for two patches side by side."""


MAX_PAIRS = 1_000_000
"""Most pairs looked at in one go, a chart of some 1,400 tints; it takes a few seconds."""

_CHUNK = 20_000


class RiskBand(NamedTuple):
    """Risks from ``start`` on, up to the next band's start, are called ``word``."""

    start: float
    word: str


RISK_BANDS = (
    RiskBand(0.0, "distinct"),
    RiskBand(0.02, "may be mistaken"),
    RiskBand(0.08, "easily mistaken"),
    RiskBand(0.25, "hardly told apart"),
)
"""Words for a risk, which runs from 0 (never) to 0.5 (the same colour).

Set by the craft's own cases: solid and 50 % yellow are easily mistaken on newsprint and not on coated stock;
paper and 25 % cyan are distinct everywhere."""

NORMAL = "normal"

VISIONS = (NORMAL, *DEFICIENCIES)
"""How a reader sees: normally, or with a deficiency at full strength; milder forms lie between."""


class PairRisks(NamedTuple):
    """Per pair: ``risk`` 0-0.5 and CIEDE2000 ``difference``, each (n,)."""

    risk: FloatArray
    difference: FloatArray


@dataclass(frozen=True, slots=True)
class LookAlike:
    """Two tints and how easily one is mistaken for the other."""

    first: Tint
    second: Tint
    risk: float
    difference: float
    word: str


def risk_word(risk: float) -> str:
    """The words for a risk. ValueError unless it is within 0-0.5."""
    if not 0 <= risk <= 0.5:
        raise ValueError(f"a risk is from 0 to 0.5, not {risk}")
    return RISK_BANDS[bisect_right([band.start for band in RISK_BANDS], risk) - 1].word


def pair_word(risk: float, *, same: bool) -> str:
    """The words for two tints side by side: those of their risk, or that they are one tint."""
    return "the same tint" if same else risk_word(risk)


def misread_risks(
    press: PressCondition, first: npt.ArrayLike, second: npt.ArrayLike, vision: str = NORMAL
) -> PairRisks:
    """Risks for pairs of tints.

    Args:
        press: the condition both are printed under.
        first, second: percentages (n, 4), pair by pair.
        vision: one of ``VISIONS``.

    Raises:
        ValueError: an unknown vision, percentages out of range, or shapes that differ.
    """
    firsts, seconds = checked_percentages(first), checked_percentages(second)
    if firsts.shape != seconds.shape:
        raise ValueError(f"pairs need as many first as second tints, not {len(firsts)} and {len(seconds)}")
    clouds = _Clouds.of(press, np.concatenate([firsts, seconds]), vision)
    at = np.arange(len(firsts))
    return _risks(clouds, at, at + len(firsts))


def look_alikes(
    press: PressCondition,
    tints: Sequence[Tint],
    others: Sequence[Tint] | None = None,
    vision: str = NORMAL,
    at_least: str = RISK_BANDS[1].word,
) -> list[LookAlike]:
    """Pairs ranked from the riskiest down.

    Args:
        press: the condition they are printed under.
        tints: e.g. a chart, or the tints of one subject.
        others: what to compare them with (the other subjects, the neighbours on the page); None compares
            every two of ``tints``. A tint that is in both is left out against itself.
        vision: one of ``VISIONS``.
        at_least: the mildest word to report, one of the words of ``RISK_BANDS``.

    Raises:
        ValueError: an unknown vision or word, or more than ``MAX_PAIRS`` pairs.
    """
    floor = {band.word: band.start for band in RISK_BANDS}.get(at_least)
    if floor is None:
        raise ValueError(f"no risk is called {at_least!r}")
    everything = [*tints, *(others or ())]
    first, second = _pairs(len(tints), None if others is None else len(others))
    clouds = _Clouds.of(press, as_array(everything), vision)
    pairs = _risks(clouds, first, second)
    ranked = []
    for at in np.argsort(-pairs.risk, kind="stable"):
        risk = float(pairs.risk[at])
        if risk < floor:
            break
        tint, other = everything[first[at]], everything[second[at]]
        if tint != other:
            ranked.append(LookAlike(tint, other, risk, float(pairs.difference[at]), risk_word(risk)))
    return ranked


def _pairs(count: int, others: int | None) -> tuple[Any, Any]:
    """Places of both of each pair (n,): every two of ``count``, or each of them with each of those behind them."""
    total = count * (count - 1) // 2 if others is None else count * others
    if total > MAX_PAIRS:
        raise ValueError(f"{total:,} pairs are too many to compare; at most {MAX_PAIRS:,}")
    if others is None:
        return np.triu_indices(count, 1)
    first, second = (grid.ravel() for grid in np.indices((count, others)))
    return first, second + count


def simulate(xyz: FloatArray, vision: str) -> FloatArray:
    """XYZ (n, 3), D50 and Y = 100, as somebody of this vision sees them. ValueError if it is unknown."""
    if vision == NORMAL:
        return xyz
    if vision not in DEFICIENCIES:
        raise ValueError(f"unknown vision {vision!r}; known are {', '.join(VISIONS)}")
    seen = xyz_to_linear_srgb(xyz) @ deficiency_matrix(vision).T
    return linear_srgb_to_xyz(np.maximum(seen, 0.0))


@dataclass(frozen=True, eq=False)
class _Clouds:
    """Where tints print: centres (n, 3) and covariances (n, 3, 3) in Lab."""

    lab: FloatArray
    spread: FloatArray

    @classmethod
    def of(cls, press: PressCondition, percentages: FloatArray, vision: str) -> _Clouds:
        count = len(percentages)
        unit = np.eye(4)
        here = percentages[:, None, :]
        # Dot gain, as far up as down, so that the slope is taken around the tint.
        wander = TONE_VARIATION * 4 * (here / 100) * (1 - here / 100) * unit
        grid = np.concatenate([here, here + wander, here - wander, here * (1 - unit)], axis=1)
        xyz = press.xyz(np.clip(grid.reshape(-1, 4), 0, 100)).reshape(count, 13, 3)
        centre, more, less, ink_gone = xyz[:, :1], xyz[:, 1:5], xyz[:, 5:9], xyz[:, 9:]
        # Ink film: what the ink absorbs on top of the others grows as a power of its thickness (Beer, Lambert).
        absorbed = FILM_VARIATION * np.log(np.maximum(centre, _DARKEST) / np.maximum(ink_gone, _DARKEST))
        thicker, thinner = centre * np.exp(absorbed), centre * np.exp(-absorbed)
        everything = np.concatenate([centre, more, thicker, less, thinner], axis=1)
        lab = xyz_to_lab(simulate(everything.reshape(-1, 3), vision)).reshape(count, 17, 3)
        moves = (lab[:, 1:9] - lab[:, 9:]) / 2
        return cls(lab[:, 0], moves.transpose(0, 2, 1) @ moves)


_DARKEST = 1e-3


def _risks(clouds: _Clouds, first: IndexArray, second: IndexArray) -> PairRisks:
    from scipy.special import ndtr

    risk, difference = np.empty(len(first)), np.empty(len(first))
    for start in range(0, len(first), _CHUNK):
        part = slice(start, start + _CHUNK)
        left, right = first[part], second[part]
        apart, axes = local_geometry(clouds.lab[left], clouds.lab[right])
        spread = axes @ ((clouds.spread[left] + clouds.spread[right]) / 2) @ axes.transpose(0, 2, 1)
        spread += READER_VARIATION**2 * np.eye(3)
        solved = np.linalg.solve(spread, apart[:, :, None])[:, :, 0]
        risk[part] = ndtr(-np.sqrt(np.maximum((apart * solved).sum(axis=1), 0.0)) / 2)
        difference[part] = np.sqrt((apart**2).sum(axis=1))
    return PairRisks(risk, difference)
