"""Marked areas that touch and print look-alike: a figure sinks into what is behind it."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from bible.colour.lookalikes import RISK_BANDS, misread_risks, pair_word
from bible.colour.press import PressCondition
from bible.colour.tints import Tint, as_array
from guides.imaging.page.regions import Regions

TOUCHING = 0.02
"""Length of a common border from which two areas touch, as a share of the page's longer side."""

SINKS_FROM = RISK_BANDS[2].start
"""Risk of being mistaken from which a pair is named: “easily mistaken”, as solid and 50 % yellow are on newsprint.

A line between two areas that print alike does not separate them; it only draws their edge (common practice, no
source)."""

SAME_PAINT = 40
"""Largest difference of a channel (0-255) between two readings of what one hand meant as one paint."""


@dataclass(frozen=True, slots=True)
class Sinking:
    """Two marks, by number, whose areas touch.

    Attributes:
        first, second: numbers of the marks.
        border: length of the common border as a share of the page's longer side.
        risk: of one being mistaken for the other, 0-0.5.
        word: the risk in words; “the same tint” where there is no difference at all.
        difference: CIEDE2000 between the two in print.
        x, y: a place on their common border, about the middle of it; fractions of the page.
    """

    first: int
    second: int
    border: float
    risk: float
    word: str
    difference: float
    x: float
    y: float


@dataclass(frozen=True, slots=True)
class _Edges:
    """Every two pixels side by side of different areas, 0 being none: rows, columns, and the two areas (n, 2)."""

    rows: npt.NDArray[np.int64]
    columns: npt.NDArray[np.int64]
    areas: npt.NDArray[np.int64]

    @classmethod
    def of(cls, labels: npt.NDArray[np.int32]) -> _Edges:
        sides = []
        for here, there in ((labels[:, :-1], labels[:, 1:]), (labels[:-1], labels[1:])):
            rows, columns = np.nonzero(here != there)
            sides.append((rows, columns, np.stack([here[rows, columns], there[rows, columns]], axis=1)))
        rows, columns, areas = (np.concatenate(part) for part in zip(*sides, strict=True))
        return cls(rows, columns, areas.astype(np.int64))

    def lengths(self, count: int) -> npt.NDArray[np.int64]:
        keys = self.areas[:, 0] * (count + 1) + self.areas[:, 1]
        table = np.bincount(keys, minlength=(count + 1) ** 2).reshape(count + 1, count + 1)[1:, 1:]
        return np.asarray(table + table.T)

    def middle(self, first: int, second: int) -> tuple[int, int]:
        """The pixel (x, y) of the border between two areas that is nearest to the middle of all of them."""
        here = (self.areas == (first, second)).all(axis=1) | (self.areas == (second, first)).all(axis=1)
        rows, columns = self.rows[here], self.columns[here]
        at = int(((rows - rows.mean()) ** 2 + (columns - columns.mean()) ** 2).argmin())
        return int(columns[at]), int(rows[at])


def borders(labels: npt.NDArray[np.int32], count: int) -> npt.NDArray[np.int64]:
    """How many pixels each two of ``count`` areas have side by side, (count, count), symmetric, 0 on the diagonal."""
    return _Edges.of(labels).lengths(count)


def _touching(length: npt.NDArray[np.float64]) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]]:
    """The pairs (n,) of areas whose common border (m, m), a share of the page's longer side, is long enough."""
    first, second = np.nonzero(np.triu(length >= TOUCHING, 1))
    return first, second


def _of_other_things(
    first: npt.NDArray[np.intp],
    second: npt.NDArray[np.intp],
    parts: Sequence[Hashable | None],
    tints: Sequence[Tint | None],
) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]]:
    """The pairs (n,) that are not both of one thing; all of them where nobody says what is part of what."""
    if not parts:
        return first, second
    read = [part for part, tint in zip(parts, tints, strict=True) if tint is not None]
    apart = [read[a] is None or read[a] != read[b] for a, b in zip(first, second, strict=True)]
    kept = np.array(apart, dtype=bool)
    return first[kept], second[kept]


def _told_apart(
    first: npt.NDArray[np.intp],
    second: npt.NDArray[np.intp],
    percentages: npt.NDArray[np.float64],
    paint: npt.NDArray[np.uint8],
) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp], npt.NDArray[np.bool_]]:
    """The pairs (n,) without those of one tint and one paint, which are one area with two marks; and whether the two
    are of one tint.

    Args:
        first, second: places in ``percentages`` (m, 4) and in ``paint`` (m, 3), 0-255.
    """
    same = (percentages[first] == percentages[second]).all(axis=1)
    painted_apart = np.abs(paint[first].astype(int) - paint[second]).max(axis=1) > SAME_PAINT
    kept = ~same | painted_apart
    return first[kept], second[kept], same[kept]


def sinking(
    regions: Regions,
    tints: Sequence[Tint | None],
    numbers: Sequence[int],
    press: PressCondition,
    parts: Sequence[Hashable | None] = (),
) -> list[Sinking]:
    """Pairs of marks that touch and whose tints may be mistaken for each other, the riskiest first.

    Args:
        regions: the page's areas, those with a readable tint in the order of the marks.
        tints: the marks' tints, None where one cannot be read (those have no area).
        numbers: the marks' numbers.
        press: the condition.
        parts: what each mark is part of, None for background; base and shade of one thing belong side by side.

    Two marks of one tint count only where their paints differ: the same paint is one area with two marks.
    """
    read = [(tint, number) for tint, number in zip(tints, numbers, strict=True) if tint is not None]
    if len(read) < 2:
        return []
    edges, (height, width) = _Edges.of(regions.own), regions.own.shape
    length = edges.lengths(len(read)) / max(height, width)
    first, second = _of_other_things(*_touching(length), parts, tints)
    percentages = as_array(tint for tint, _ in read)
    first, second, same = _told_apart(first, second, percentages, regions.paint)
    if not len(first):
        return []
    risks = misread_risks(press, percentages[first], percentages[second])
    pairs = []
    for at in np.argsort(-risks.risk, kind="stable"):
        if (risk := float(risks.risk[at])) < SINKS_FROM:
            break
        here, there = int(first[at]), int(second[at])
        word = pair_word(risk, same=bool(same[at]))
        border, difference = round(float(length[here, there]), 4), round(float(risks.difference[at]), 2)
        x, y = edges.middle(here + 1, there + 1)
        place = round((x + 0.5) / width, 4), round((y + 0.5) / height, 4)
        pairs.append(Sinking(read[here][1], read[there][1], border, round(risk, 4), word, difference, *place))
    return pairs
