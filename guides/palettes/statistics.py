"""Figures of palettes and distances between them, under one press condition. Weights are uses, not areas.

Palettes are as far apart as the earth mover's distance over CIEDE2000 says, with what both have left in place: its
unit is the colour change of an average mark, and it heeds how often a tint is used. Every mark weighs the same,
since areas are not known.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from bible.colour.difference import difference_matrix
from bible.colour.press import PressCondition
from bible.colour.tints import INK_NAMES, INKS, Tint, as_array
from guides.palettes.matrix import Palette

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Figures:
    """Means over the uses of a palette.

    Attributes:
        lightness: CIE L*, 0-100.
        chroma: C*ab = sqrt(a*² + b*²) (CIE 15), the mean of each use's own chroma.
        ink: total ink ordered, 0-400 %.
        inks: the same for each ink alone, (name, 0-100 %).
    """

    uses: int
    tints: int
    lightness: float
    chroma: float
    ink: float
    inks: tuple[tuple[str, float], ...]


def figures(palette: Palette, press: PressCondition) -> Figures | None:
    """Figures of a palette; None where nothing is used. Lab is absolute, D50, 2° (``PressCondition.lab``)."""
    used = {tint: uses for tint, uses in palette.items() if uses}
    if not used:
        return None
    inks, weights = as_array(used), np.array(list(used.values()), dtype=np.float64)
    lab = press.lab(inks)
    per_ink = np.average(inks, axis=0, weights=weights)
    return Figures(
        uses=int(weights.sum()),
        tints=len(used),
        lightness=float(np.average(lab[:, 0], weights=weights)),
        chroma=float(np.average(np.hypot(lab[:, 1], lab[:, 2]), weights=weights)),
        ink=float(per_ink.sum()),
        inks=tuple((INK_NAMES[ink], float(mean)) for ink, mean in zip(INKS, per_ink, strict=True)),
    )


@dataclass(frozen=True, slots=True)
class FigureChange:
    name: str
    unit: str
    before: float | None
    after: float | None


def differences(before: Figures | None, after: Figures | None) -> list[FigureChange]:
    """The figures of two palettes line by line; None where a palette is empty."""
    lines = [("Uses", "", "uses"), ("Tints", "", "tints"), ("Mean lightness L*", "", "lightness")]
    lines += [("Mean chroma C*ab", "", "chroma"), ("Mean total ink", " %", "ink")]
    changes = [
        FigureChange(name, unit, getattr(before, key, None), getattr(after, key, None)) for name, unit, key in lines
    ]
    inks = zip(
        *(side.inks if side else [(INK_NAMES[ink], None) for ink in INKS] for side in (before, after)), strict=True
    )
    return changes + [FigureChange(f"Mean {old[0]}", " %", old[1], new[1]) for old, new in inks]


@dataclass(frozen=True, slots=True)
class Change:
    """One tint in two palettes: uses, and shares of each palette in percent."""

    tint: Tint
    before: int
    after: int
    share_before: float
    share_after: float

    @property
    def points(self) -> float:
        """Percentage points by which the tint's share has grown."""
        return self.share_after - self.share_before


@dataclass(frozen=True)
class Comparison:
    """What went and what came (most used first), and what both have (largest shift first)."""

    went: tuple[Change, ...]
    came: tuple[Change, ...]
    kept: tuple[Change, ...]


def compare(before: Palette, after: Palette) -> Comparison:
    whole_before, whole_after = sum(before.values()) or 1, sum(after.values()) or 1
    changes = [
        Change(tint, old, new, 100 * old / whole_before, 100 * new / whole_after)
        for tint in sorted(before.keys() | after.keys())
        if (old := before.get(tint, 0)) + (new := after.get(tint, 0))
    ]
    return Comparison(
        went=tuple(sorted((c for c in changes if not c.after), key=lambda c: -c.before)),
        came=tuple(sorted((c for c in changes if not c.before), key=lambda c: -c.after)),
        kept=tuple(sorted((c for c in changes if c.before and c.after), key=lambda c: -abs(c.points))),
    )


@dataclass(frozen=True, slots=True)
class Beside:
    """A tint that only one palette has, with the nearest one of the other: by CIEDE2000 under a press."""

    change: Change
    nearest: Tint | None
    difference: float

    @property
    def uses(self) -> int:
        return self.change.before or self.change.after


def beside(changes: Sequence[Change], other: Palette, press: PressCondition) -> list[Beside]:
    """Each of some tints beside what prints nearest to it in the other palette."""
    tints = [tint for tint, uses in other.items() if uses]
    if not changes or not tints:
        return [Beside(change, None, 0.0) for change in changes]
    labs = press.lab(as_array([change.tint for change in changes] + tints))
    apart = difference_matrix(labs)[: len(changes), len(changes) :]
    nearest = apart.argmin(axis=1)
    return [
        Beside(change, tints[nearest[row]], float(apart[row, nearest[row]])) for row, change in enumerate(changes)
    ]


_NOTHING = 1e-12


def movers_distance(first: FloatArray, second: FloatArray, ground: FloatArray) -> float:
    """Earth mover's distance (Rubner, Tomasi, Guibas 2000, IJCV 40(2)) between two sets of shares.

    What both have stays where it is; the rest is moved the cheapest way. Chosen because its unit is that of the
    ground distance and it heeds how often each tint is used: with CIEDE2000 it says by how much the colour of a mark
    would have to change on average to make one palette of the other. (CIEDE2000 does not quite keep the triangle
    inequality, so leaving the common part in place is part of the definition here, not a consequence.)

    Args:
        first, second: shares (n,), each summing to 1.
        ground: distances (n, n), 0 on the diagonal.
    """
    surplus, deficit = _unshared(first, second)
    give, take = np.flatnonzero(surplus > _NOTHING), np.flatnonzero(deficit > _NOTHING)
    if not len(give) or not len(take):
        return 0.0
    cost = ground[np.ix_(give, take)]
    if min(cost.shape) == 1:
        return float((cost * np.outer(surplus[give], deficit[take])).sum() / surplus[give].sum())
    from scipy.optimize import linprog

    rows, columns = cost.shape
    leaving = np.kron(np.eye(rows), np.ones(columns))
    arriving = np.kron(np.ones(rows), np.eye(columns))
    amounts = np.concatenate([surplus[give], deficit[take] * (surplus[give].sum() / deficit[take].sum())])
    solved = linprog(cost.ravel(), A_eq=np.vstack([leaving, arriving]), b_eq=amounts, method="highs")
    if not solved.success:
        raise ArithmeticError(f"no transport between the palettes was found: {solved.message}")
    return float(cost.ravel() @ np.asarray(solved.x))


def _unshared(first: FloatArray, second: FloatArray) -> tuple[FloatArray, FloatArray]:
    return np.maximum(first - second, 0.0), np.maximum(second - first, 0.0)


def palette_distance(first: Palette, second: Palette, press: PressCondition) -> float | None:
    """Mover's distance between two palettes in CIEDE2000 under a press; None where one of them is empty."""
    tints = sorted(first.keys() | second.keys())
    shares = [
        _shares(np.array([palette.get(tint, 0) for tint in tints], dtype=np.float64)) for palette in (first, second)
    ]
    if shares[0] is None or shares[1] is None:
        return None
    return movers_distance(shares[0], shares[1], difference_matrix(press.lab(as_array(tints))))


def _shares(uses: FloatArray) -> FloatArray | None:
    whole = uses.sum()
    return uses / whole if whole else None


SHORTLIST = 24
"""Palettes of which the true distance is worked out: a transport takes some milliseconds, and 600 of them seconds."""
SMOOTHING = 1.0
"""Strength of the entropic term in CIEDE2000: small against the differences that matter, large enough for doubles."""
ROUNDS = 100


def nearest(
    wanted: Palette,
    tints: Sequence[Tint],
    counts: npt.NDArray[np.int64],
    press: PressCondition,
    count: int,
) -> list[tuple[int, float]]:
    """The palettes nearest to a wanted one: (row of ``counts``, distance in CIEDE2000), nearest first.

    A shortlist is chosen by the entropic approximation of the transport for all palettes at once; the order and the
    figures within it are exact.

    Args:
        counts: uses (n, len(tints)); rows without uses are left out.
        count: how many at most.
    """
    whole = counts.sum(axis=1)
    rows = np.flatnonzero(whole)
    every = sorted(set(tints) | wanted.keys())
    column = {tint: at for at, tint in enumerate(every)}
    target = _shares(np.array([wanted.get(tint, 0) for tint in every], dtype=np.float64))
    if target is None or not len(rows):
        return []
    shares = np.zeros((len(rows), len(every)))
    shares[:, [column[tint] for tint in tints]] = counts[rows] / whole[rows, None]
    ground = difference_matrix(press.lab(as_array(every)))
    shortlist = np.argsort(approximate_distances(target, shares, ground), kind="stable")[: max(SHORTLIST, 2 * count)]
    ranked = sorted((movers_distance(target, shares[at], ground), int(rows[at])) for at in shortlist)
    return [(row, distance) for distance, row in ranked[:count]]


def approximate_distances(first: FloatArray, others: FloatArray, ground: FloatArray) -> FloatArray:
    """Distances from one set of shares to many by Sinkhorn's iteration (Cuturi 2013, “Sinkhorn Distances”).

    Args:
        first: shares (n,).
        others: shares (m, n).
        ground: distances (n, n).

    Returns:
        (m,), a little above the true distances.
    """
    given = first > 0
    kernel, cost = np.exp(-ground[given] / SMOOTHING), ground[given]
    target, shares = first[given][:, None], others.T
    back = np.ones_like(shares)
    for _ in range(ROUNDS):
        forth = target / np.maximum(kernel @ back, _TINY)
        back = shares / np.maximum(kernel.T @ forth, _TINY)
    return np.asarray((forth * ((kernel * cost) @ back)).sum(axis=0))


_TINY = 1e-300
