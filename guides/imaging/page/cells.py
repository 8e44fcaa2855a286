"""What is known of the cells of a page and of the borders between them: sums, so that cells can be joined."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from guides.imaging.page.filling import Labels
from guides.imaging.page.scaling import BoolArray, Float32Array

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]


PLENTY = 4000
"""Working pixels of a cell or an area from which every fourth is enough to tell its paint."""


@dataclass(frozen=True, eq=False)
class Cells:
    """``count`` (n,) pixels that a cell's colour rests on; ``total`` (n, 6) sums over them of CIELAB and density;
    ``size`` (n,) all pixels; ``radius`` (n,) of the largest ball that fitted, working pixels; ``lettered`` (n,) how
    many pixels lie in words, all of them where nobody has looked for words."""

    count: FloatArray
    total: FloatArray
    size: FloatArray
    radius: FloatArray
    lettered: FloatArray

    @property
    def mean(self) -> FloatArray:
        return self.total / np.maximum(self.count, 1)[:, None]

    def joined(self, into: IntArray, number: int) -> Cells:
        """The same where cell i becomes part of cell ``into[i]`` of ``number``."""
        radius = np.zeros(number)
        np.maximum.at(radius, into, self.radius)
        total = np.stack([counted(into, column, number) for column in self.total.T], axis=1)
        count, size, lettered = (counted(into, plane, number) for plane in (self.count, self.size, self.lettered))
        return Cells(count, total, size, radius, lettered)


@dataclass(frozen=True, eq=False)
class Borders:
    """Borders between cells ``first`` < ``second`` (m,): how many pixels are ``open``, under ``line`` art, and under
    ``loose`` strokes of ink; ``step`` (m, 3) the sum of the colour differences across, over ``steps`` of them;
    ``written`` and ``written_line`` how many of all and of ``line`` pixels border on writing one has taken in."""

    first: IntArray
    second: IntArray
    open: FloatArray
    line: FloatArray
    loose: FloatArray
    step: FloatArray
    steps: FloatArray
    written: FloatArray
    written_line: FloatArray

    def joined(self, into: IntArray, number: int) -> Borders:
        """The same once cells are joined; borders within a cell vanish."""
        first, second = into[self.first], into[self.second]
        turned = first > second
        kept = first != second
        low, high = np.minimum(first, second)[kept], np.maximum(first, second)[kept]
        keys, which = np.unique(low * number + high, return_inverse=True)
        sign = np.where(turned, -1.0, 1.0)[:, None]

        def gathered(values: FloatArray) -> FloatArray:
            return counted(which, values[kept], len(keys))

        step = (self.step * sign)[kept]
        return Borders(
            keys // number,
            keys % number,
            gathered(self.open),
            gathered(self.line),
            gathered(self.loose),
            np.stack([counted(which, step[:, axis], len(keys)) for axis in range(3)], axis=1),
            gathered(self.steps),
            gathered(self.written),
            gathered(self.written_line),
        )


def counted(which: npt.NDArray[np.integer], weights: npt.NDArray[np.generic] | None, number: int) -> FloatArray:
    """Sums (number,) of the weights, or of ones, by place."""
    return np.asarray(np.bincount(which, weights, minlength=number), dtype=np.float64)


def measured(
    labels: Labels, core: BoolArray, lab: Float32Array, depth: Float32Array, away: Float32Array,
    words: BoolArray | None = None,
) -> Cells:  # fmt: skip
    """Cells (labels from 1, cell i at index i; index 0 is empty) from the pixels of their ``core``."""
    number = int(labels.max()) + 1
    size = counted(labels.ravel(), None, number)
    chosen = enough(labels, size) & core
    inside = labels[chosen]
    values = [plane[chosen] for plane in (*np.moveaxis(lab, -1, 0), *np.moveaxis(depth, -1, 0))]
    total = np.stack([counted(inside, plane, number) for plane in values], axis=1)
    lettered = size if words is None else counted(labels[words], None, number)
    return Cells(counted(inside, None, number), total, size, largest(labels, away, number), lettered)


def enough(labels: Labels, size: FloatArray) -> BoolArray:
    """Pixels (h, w) to measure by: all of small cells, every fourth of large ones."""
    chosen = (size < PLENTY)[labels]
    chosen[::2, ::2] = True
    return np.asarray(chosen)


def largest(labels: Labels, away: Float32Array, number: int) -> FloatArray:
    """The largest distance (number,) in each cell."""
    ridge = (away >= cv2.dilate(away, np.ones((3, 3), np.uint8))) & (away > 0)
    where, values = labels[ridge], away[ridge]
    order = np.argsort(values, kind="stable")
    distances = np.zeros(number)
    distances[where[order]] = values[order]
    return distances


def bordering(labels: Labels, line: BoolArray, loose: BoolArray, lab: Float32Array, reach: int) -> Borders:
    """Every border of the page; colours are compared ``reach`` pixels to either side of it."""
    number = int(labels.max()) + 1
    sides = [
        _side(labels, line, loose, lab, reach),
        _side(labels.T, line.T, loose.T, lab.transpose(1, 0, 2), reach),
    ]
    low, high, inked, free, step, valid = (np.concatenate(part) for part in zip(*sides, strict=True))
    keys, which = np.unique(low * number + high, return_inverse=True)

    def gathered(values: npt.NDArray[np.generic]) -> FloatArray:
        return counted(which, values, len(keys))

    return Borders(
        keys // number,
        keys % number,
        gathered(~inked & ~free),
        gathered(inked & ~free),
        gathered(free),
        np.stack([gathered(step[:, axis]) for axis in range(3)], axis=1),
        gathered(valid),
        np.zeros(len(keys)),
        np.zeros(len(keys)),
    )


def _side(
    labels: Labels, line: BoolArray, loose: BoolArray, lab: Float32Array, reach: int
) -> tuple[npt.NDArray[np.generic], ...]:
    """Pixels side by side of different cells: the lower and the higher cell, whether a line or a loose stroke lies
    between them, and the colour step from the lower to the higher where both sides are still their cells' own."""
    rows, columns = np.nonzero(labels[:, :-1] != labels[:, 1:])
    here, there = labels[rows, columns].astype(np.int64), labels[rows, columns + 1].astype(np.int64)
    inked = line[rows, columns] | line[rows, columns + 1]
    free = loose[rows, columns] | loose[rows, columns + 1]
    before, after = np.maximum(columns - reach, 0), np.minimum(columns + 1 + reach, labels.shape[1] - 1)
    valid = (labels[rows, before] == here) & (labels[rows, after] == there) & ~inked & ~free
    step = (lab[rows, after] - lab[rows, before]) * (valid * np.where(here < there, 1.0, -1.0))[:, None]
    return np.minimum(here, there), np.maximum(here, there), inked, free, step, valid
