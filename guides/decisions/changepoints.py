"""Which code held over which stretch of issues: exact penalised segmentation of what the marks said.

For each issue there are counts of the codes its marks say. A stretch of issues has one code in force; marks that say
another are slips. The cost of a history is

    slips * SLIP + (stretches - 1) * CHANGE

in nats, and the dynamic programme finds the cheapest history of all exactly, over states "code in force here"
(optimal partitioning; B. Jackson et al., "An algorithm for optimal partitioning of data on an interval", IEEE Signal
Processing Letters 12, 2005; since the cost is additive over issues it takes the Viterbi form and needs
O(issues * codes)).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

SLIP_RATE = 0.03
"""Marks in a hundred that say a wrong code where people work with care (common practice, no source)."""
WRONG_CODES = 20
"""A slip may land on any of a few dozen codes near the right one; a rate spread over them costs this much more."""
SLIP = math.log((1 - SLIP_RATE) * WRONG_CODES / SLIP_RATE)
"""What one mark with another code costs against one that agrees: about 6.5 nats."""
CHANGES_EXPECTED = 1 / 60
"""A part's code changes about once in five years of monthly issues (common practice, no source)."""
OTHER_CODES = 63
"""Codes that a change could turn to on the classic chart."""
CHANGE = math.log(OTHER_CODES * (1 - CHANGES_EXPECTED) / CHANGES_EXPECTED)
"""What a change costs: about 8.2 nats. More than one slip and less than two: a code that one mark alone says is a
slip; two marks that agree on a new one, with nothing of the old one after them, begin to tell of a change."""

IntArray = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class SteadyRun:
    """Issues ``first`` to ``last`` (indices, inclusive) with one code in force.

    ``code`` is the index of its column; ``agree`` and ``odd`` count the marks that say it and that do not.
    ``margin`` is by how much, in nats, the whole history would be costlier with the second-best code here.
    """

    first: int
    last: int
    code: int
    agree: int
    odd: int
    margin: float

    @property
    def is_firm(self) -> bool:
        """Whether the evidence outweighs a single slip."""
        return self.margin > SLIP


def stretches(counts: npt.ArrayLike, slip: float = SLIP, change: float = CHANGE) -> list[SteadyRun]:
    """The cheapest history of a part and role.

    Args:
        counts: (issues, codes), how many marks of each issue say each code; issues in running order.
        slip: cost of a mark that says another code than the one in force, in nats, > 0.
        change: cost of a change of the code in force, in nats, > 0.

    Returns:
        Stretches in order, from the first issue with marks to the last one. A change stands at the first issue whose
        marks speak for the new code: between two issues with marks nobody can know better. Empty without marks.

    Raises:
        ValueError: not a two-dimensional array of counts, or a cost that is not positive.
    """
    table = np.asarray(counts, dtype=np.int64)
    if table.ndim != 2 or (table < 0).any():
        raise ValueError("counts are an array (issues, codes) of numbers of marks")
    if not (slip > 0 and change > 0):
        raise ValueError("slips and changes must cost something")
    seen = np.flatnonzero(table.sum(axis=1))
    if not len(seen):
        return []
    path = _cheapest(table[seen], slip, change)
    breaks = np.flatnonzero(np.diff(path)) + 1
    runs = []
    for part in np.split(np.arange(len(seen)), breaks):
        tally = table[seen[part]].sum(axis=0)
        code = int(path[part[0]])
        agree = int(tally[code])
        others = np.delete(tally, code)
        margin = slip * (agree - int(others.max() if len(others) else 0))
        runs.append(SteadyRun(int(seen[part[0]]), int(seen[part[-1]]), code, agree, int(tally.sum()) - agree, margin))
    return runs


def _cheapest(table: IntArray, slip: float, change: float) -> IntArray:
    """The code in force at each issue of the cheapest history, (issues,). Ties stay with the code in force."""
    cost = slip * (table.sum(axis=1, keepdims=True) - table).astype(np.float64)
    length, codes = cost.shape
    came_from = np.empty((length, codes), dtype=np.int64)
    total = cost[0].copy()
    stay = np.arange(codes)
    for issue in range(1, length):
        best = int(total.argmin())
        switched = total[best] + change
        from_best = switched < total
        came_from[issue] = np.where(from_best, best, stay)
        total = np.where(from_best, switched, total) + cost[issue]
    path = np.empty(length, dtype=np.int64)
    path[-1] = int(total.argmin())
    for issue in range(length - 1, 0, -1):
        path[issue - 1] = came_from[issue, path[issue]]
    return path


def tabulate(rows: Sequence[tuple[int, int, int]], issues: int) -> tuple[IntArray, list[int]]:
    """(issue index, code, number) rows as counts (issues, codes), with the code of each column, rising."""
    codes = sorted({code for _, code, _ in rows})
    column = {code: place for place, code in enumerate(codes)}
    table = np.zeros((issues, len(codes)), dtype=np.int64)
    for issue, code, number in rows:
        table[issue, column[code]] += number
    return table, codes
