"""Colour difference: CIEDE2000, the words for it, and the nearest tint."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import product
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from bible.colour.press import PressCondition
from bible.colour.tints import Tint, as_array

FloatArray = npt.NDArray[np.float64]


class SeverityBand(NamedTuple):
    """Differences from ``start`` on, up to the next band's start, are called ``word``."""

    start: float
    word: str
    meaning: str


SEVERITY_BANDS = (
    SeverityBand(0.0, "unseen", "nobody sees it, not even side by side"),
    SeverityBand(1.0, "slight", "seen side by side by who looks for it"),
    SeverityBand(3.0, "moderate", "seen side by side, missed from page to page"),
    SeverityBand(6.0, "obvious", "seen from page to page"),
    SeverityBand(12.0, "severe", "another colour"),
)
"""Words for a CIEDE2000 difference between two printed tints.

1 is about the threshold of a trained eye (common practice, no source). The upper bounds follow two judgements of
the craft on newsprint, measured in TR 002: solid and 50 % yellow "print almost the same" at 5.3, so 6 still counts
as easily missed; paper beside 25 % cyan is "a harsh jump" at 14.6, and the same two yellows on coated stock, told
apart without trouble, lie 11.5 apart, so severe begins at 12.
"""


def severity(difference: float) -> SeverityBand:
    """The band of a CIEDE2000 difference. ValueError if it is negative or not a number."""
    if not difference >= 0:
        raise ValueError(f"a colour difference is not {difference}")
    return SEVERITY_BANDS[bisect_right([band.start for band in SEVERITY_BANDS], difference) - 1]


class _Terms(NamedTuple):
    """The terms of CIEDE2000 between pairs of colours (notation of ISO/CIE 11664-6)."""

    lightness: FloatArray
    chroma: FloatArray
    hue: FloatArray
    rotation: FloatArray
    mean_hue: FloatArray
    stretch: FloatArray
    scales: tuple[FloatArray, FloatArray, FloatArray]


def delta_e_2000(lab1: npt.ArrayLike, lab2: npt.ArrayLike) -> FloatArray:
    """CIEDE2000 colour difference (ISO/CIE 11664-6) with kL = kC = kH = 1.

    Args:
        lab1, lab2: CIELAB, shapes (..., 3) that broadcast.

    Returns:
        Differences, of the broadcast shape without the last axis.
    """
    terms = _terms(lab1, lab2)
    square = terms.lightness**2 + terms.chroma**2 + terms.hue**2 + terms.rotation * terms.chroma * terms.hue
    return np.sqrt(np.maximum(square, 0.0))


def hue_part(lab1: npt.ArrayLike, lab2: npt.ArrayLike) -> FloatArray:
    """The hue term of CIEDE2000, signed: positive where ``lab2`` lies at the larger hue angle."""
    return _terms(lab1, lab2).hue


def local_geometry(lab1: FloatArray, lab2: FloatArray) -> tuple[FloatArray, FloatArray]:
    """CIEDE2000 between pairs as plain distance, and how small moves in Lab count in it.

    Args:
        lab1, lab2: CIELAB, (n, 3).

    Returns:
        Vectors (n, 3) from the first to the second colour whose length is their CIEDE2000 difference, and
        matrices (n, 3, 3) that turn a small Lab displacement near the pair into such a vector.
    """
    terms = _terms(lab1, lab2)
    # The square root of the form c2 + h2 + R c h: a basis in which it is a sum of squares.
    lean = terms.rotation / 2
    upright = np.sqrt(1 - lean**2)
    apart = np.stack([terms.lightness, terms.chroma + lean * terms.hue, upright * terms.hue], axis=-1)
    cos, sin = np.cos(terms.mean_hue), np.sin(terms.mean_hue)
    s_l, s_c, s_h = terms.scales
    zero = np.zeros_like(cos)
    chroma_row = np.stack([zero, cos * terms.stretch / s_c, sin / s_c], axis=-1)
    hue_row = np.stack([zero, -sin * terms.stretch / s_h, cos / s_h], axis=-1)
    light_row = np.stack([1 / s_l, zero, zero], axis=-1)
    rows = [light_row, chroma_row + lean[:, None] * hue_row, upright[:, None] * hue_row]
    return apart, np.stack(rows, axis=-2)


def _terms(lab1: npt.ArrayLike, lab2: npt.ArrayLike) -> _Terms:
    first, second = np.asarray(lab1, dtype=np.float64), np.asarray(lab2, dtype=np.float64)
    l1, a1, b1 = first[..., 0], first[..., 1], first[..., 2]
    l2, a2, b2 = second[..., 0], second[..., 1], second[..., 2]
    stretch = 1.5 - 0.5 * _saturation((np.hypot(a1, b1) + np.hypot(a2, b2)) / 2)
    a1, a2 = a1 * stretch, a2 * stretch
    c1, c2 = np.hypot(a1, b1), np.hypot(a2, b2)
    h1, h2 = np.arctan2(b1, a1) % _TURN, np.arctan2(b2, a2) % _TURN
    grey = c1 * c2 == 0
    turn = h2 - h1
    turn = np.where(turn > np.pi, turn - _TURN, np.where(turn < -np.pi, turn + _TURN, turn))
    turn = np.where(grey, 0.0, turn)
    total = h1 + h2
    across = np.where(np.abs(h1 - h2) > np.pi, np.where(total < _TURN, _TURN, -_TURN), 0.0)
    mean_h = np.where(grey, total, (total + across) / 2)
    mean_c = (c1 + c2) / 2
    t = (
        1
        - 0.17 * np.cos(mean_h - _DEGREE * 30)
        + 0.24 * np.cos(2 * mean_h)
        + 0.32 * np.cos(3 * mean_h + _DEGREE * 6)
        - 0.20 * np.cos(4 * mean_h - _DEGREE * 63)
    )
    from_middle = ((l1 + l2) / 2 - 50) ** 2
    s_l = 1 + 0.015 * from_middle / np.sqrt(20 + from_middle)
    s_c = 1 + 0.045 * mean_c
    s_h = 1 + 0.015 * mean_c * t
    theta = 30 * np.exp(-(((mean_h / _DEGREE - 275) / 25) ** 2))
    return _Terms(
        lightness=(l2 - l1) / s_l,
        chroma=(c2 - c1) / s_c,
        hue=2 * np.sqrt(c1 * c2) * np.sin(turn / 2) / s_h,
        rotation=-2 * _saturation(mean_c) * np.sin(2 * _DEGREE * theta),
        mean_hue=mean_h,
        stretch=stretch,
        scales=(s_l, s_c, s_h),
    )


_TURN = 2 * np.pi
_DEGREE = np.pi / 180


def _saturation(chroma: FloatArray) -> FloatArray:
    seventh = chroma**7
    return np.sqrt(seventh / (seventh + 25.0**7))


def difference_matrix(lab: npt.ArrayLike) -> FloatArray:
    """CIEDE2000 between every two of n colours: (n, n), symmetric, 0 on the diagonal."""
    colours = np.asarray(lab, dtype=np.float64)
    first, second = np.triu_indices(len(colours), 1)
    matrix = np.zeros((len(colours), len(colours)))
    matrix[first, second] = delta_e_2000(colours[first], colours[second])
    return matrix + matrix.T


def neighbours(lab: npt.ArrayLike, count: int = 4) -> tuple[npt.NDArray[np.intp], FloatArray]:
    """For each of n colours its nearest others: indices and differences, each (n, count), nearest first."""
    matrix = difference_matrix(lab)
    np.fill_diagonal(matrix, np.inf)
    order = np.argsort(matrix, axis=1, kind="stable")[:, : min(count, len(matrix) - 1)]
    return order, np.take_along_axis(matrix, order, axis=1)


@dataclass(frozen=True, slots=True)
class Match:
    """A chart tint and its CIEDE2000 distance from the wanted colour."""

    tint: Tint
    difference: float
    severity: str


@dataclass(frozen=True, slots=True)
class Nearest:
    """What a press can do for a wanted colour.

    Attributes:
        matches: chart tints, nearest first.
        printable: CIEDE2000 to the nearest colour that the press can print with any percentages at all. The rest
            of the distance to the first match is what the chart costs; this part is what paper and inks cost.
        recipe: percentages C, M, Y, K of that nearest printable colour (one of many where key can stand for the
            other three inks).
    """

    matches: tuple[Match, ...]
    printable: float
    recipe: tuple[float, float, float, float]


def nearest(
    chart: Sequence[Tint], lab: npt.ArrayLike, press: PressCondition, count: int = 5, relative: bool = False
) -> Nearest:
    """Chart tints nearest to a colour by CIEDE2000.

    Args:
        chart: the tints to choose from, at least one.
        lab: the wanted CIELAB, D50 2°, shape (3,).
        press: the condition they would be printed under.
        count: how many matches at most.
        relative: whether ``lab`` is relative to the paper (L* 100 is bare paper), as paint on white board is
            seen; otherwise it is absolute, like a measurement.

    Raises:
        ValueError: no chart, or ``lab`` is not three finite numbers.
    """
    wanted = np.asarray(lab, dtype=np.float64)
    if wanted.shape != (3,) or not np.isfinite(wanted).all():
        raise ValueError("a wanted colour is three finite numbers L*, a*, b*")
    if not chart:
        raise ValueError("there is no tint on the chart to choose from")
    predict = press.relative_lab if relative else press.lab
    differences = delta_e_2000(predict(as_array(chart)), wanted)
    order = np.argsort(differences, kind="stable")[:count]
    matches = tuple(Match(chart[at], float(differences[at]), severity(float(differences[at])).word) for at in order)
    recipe, distance = _nearest_printable(press, wanted, relative)
    c, m, y, k = recipe.tolist()
    return Nearest(matches, distance, (c, m, y, k))


_SEARCH_STEP = 10.0
_SEARCH_STARTS = 6
_SEARCH_SIFTED = 300
_SEARCH_END = 0.05
_NOTHING = 0.02
_MOVES = np.array([move for move in product((-1.0, 0.0, 1.0), repeat=4) if any(move)])


@lru_cache(maxsize=16)
def _cloud(press: PressCondition, relative: bool) -> tuple[FloatArray, FloatArray]:
    """Percentages and Lab of everything printable, every 10 %."""
    steps = np.arange(0.0, 100.0 + _SEARCH_STEP, _SEARCH_STEP)
    tints = np.stack(np.meshgrid(steps, steps, steps, steps, indexing="ij"), axis=-1).reshape(-1, 4)
    return tints, (press.relative_lab if relative else press.lab)(tints)


def _nearest_printable(press: PressCondition, wanted: FloatArray, relative: bool) -> tuple[FloatArray, float]:
    """Search all percentages: the best of a coarse cloud, each then walked downhill in ever smaller steps.

    The cloud is sifted by a distance that is quick to take and close to CIEDE2000 around the wanted colour.
    """
    predict = press.relative_lab if relative else press.lab
    cloud, cloud_lab = _cloud(press, relative)
    chroma = np.hypot(wanted[1], wanted[2])
    along = wanted[1:] / chroma if chroma else np.array([1.0, 0.0])
    away = cloud_lab - wanted
    rough = away[:, 0] ** 2
    rough += ((away[:, 1:] @ along) / (1 + 0.045 * chroma)) ** 2
    rough += ((away[:, 2] * along[0] - away[:, 1] * along[1]) / (1 + 0.015 * chroma)) ** 2
    sifted = np.argpartition(rough, _SEARCH_SIFTED)[:_SEARCH_SIFTED]
    distance = delta_e_2000(cloud_lab[sifted], wanted)
    best = np.argsort(distance, kind="stable")[:_SEARCH_STARTS]
    tints, distance = cloud[sifted[best]], distance[best]
    rows = np.arange(len(tints))
    step = _SEARCH_STEP / 2
    while step > _SEARCH_END and distance.min() > _NOTHING:
        tried = np.clip(tints[:, None, :] + step * _MOVES, 0.0, 100.0)
        distances = delta_e_2000(predict(tried.reshape(-1, 4)), wanted).reshape(len(tints), -1)
        choice = distances.argmin(axis=1)
        lowest = distances[rows, choice]
        improved = lowest < distance
        tints = np.where(improved[:, None], tried[rows, choice], tints)
        distance = np.where(improved, lowest, distance)
        if not improved[np.argmin(distance)]:
            step /= 2
    winner = int(np.argmin(distance))
    return tints[winner], float(distance[winner])
