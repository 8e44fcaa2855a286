"""Cellular Yule-Nielsen modified Neugebauer model with one tone curve per ink and channel.

Between measured nodes the n-th root of each of X, Y and Z is a blend of the cell's 16 corners, weighted
by Demichel's equations on coverages that follow the tone curve of that ink in that channel (Neugebauer
1937, Yule and Nielsen 1951, cells after Heuberger, Jing and Persiev 1992: from memory). A coverage per
channel, not one per ink, takes up what optical dot gain does differently to different wavelengths.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise, product

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

YULE_NIELSEN_N = 2.0
"""The exponent's denominator; 2 is the classic value for paper that scatters fully between dots."""

_CHUNK = 1024
"""Tints evaluated at a time, so that the corners gathered for a chunk stay in the processor's cache."""


@dataclass(frozen=True, eq=False)
class CellularModel:
    """A printing model on a grid of nodes.

    Attributes:
        levels: per ink, rising whole percentages from 0 to 100 where the grid has nodes.
        nodes: XYZ at the nodes, shape (C levels, M levels, Y levels, K levels, 3), Y = 100 scale.
        tones: normalised tone curves, shape (4 inks, 101 percentages, 3 channels): 0 at paper, 1 at solid,
            not falling.
    """

    levels: tuple[tuple[int, ...], ...]
    nodes: FloatArray
    tones: FloatArray
    _weights: FloatArray = field(init=False, repr=False)
    _slopes: FloatArray = field(init=False, repr=False)
    _cells: npt.NDArray[np.intp] = field(init=False, repr=False)
    _corners: FloatArray = field(init=False, repr=False)

    def __post_init__(self) -> None:
        weights = np.zeros((4, 101, 3))
        slopes = np.zeros((4, 101, 3))
        cells = np.zeros((4, 101), dtype=np.intp)
        counts = [len(levels) - 1 for levels in self.levels]
        strides = np.cumprod([1, *counts[:0:-1]])[::-1]
        for ink, levels in enumerate(self.levels):
            for cell, (low, high) in enumerate(pairwise(levels)):
                curve = self.tones[ink, low : high + 1]
                span = curve[-1] - curve[0]
                linear = np.linspace(0.0, 1.0, high - low + 1)[:, None]
                local = np.where(span > 1e-9, (curve - curve[0]) / np.where(span > 1e-9, span, 1.0), linear)
                weights[ink, low : high + 1] = local
                slopes[ink, low:high] = np.diff(local, axis=0)
                weights[ink, high] = 1.0
                cells[ink, low : high + 1] = cell * strides[ink]
        roots = np.maximum(self.nodes, 0.0) ** (1.0 / YULE_NIELSEN_N)
        object.__setattr__(self, "_weights", np.ascontiguousarray(weights.reshape(404, 3)))
        object.__setattr__(self, "_slopes", np.ascontiguousarray(slopes.reshape(404, 3)))
        object.__setattr__(self, "_cells", cells.reshape(404))
        object.__setattr__(self, "_corners", _cell_corners(roots, counts))

    def xyz(self, tints: FloatArray) -> FloatArray:
        """XYZ (n, 3) of checked percentages (n, 4)."""
        out = np.empty((len(tints), 3))
        for start in range(0, len(tints), _CHUNK):
            out[start : start + _CHUNK] = self._chunk(tints[start : start + _CHUNK])
        return out

    def _chunk(self, tints: FloatArray) -> FloatArray:
        whole = tints.astype(np.intp)
        rest = tints - whole
        whole += _INK_OFFSETS
        weights = self._weights.take(whole, axis=0)
        if rest.any():
            weights += rest[:, :, None] * self._slopes.take(whole, axis=0)
        blend = self._corners.take(self._cells.take(whole).sum(axis=1), axis=0)
        for ink in range(4):
            half = blend.shape[1] // 2
            low, blend = blend[:, :half], blend[:, half:] - blend[:, :half]
            blend *= weights[:, ink, None, :]
            blend += low
        root = blend[:, 0]
        return root * root


_INK_OFFSETS = np.array([0, 101, 202, 303], dtype=np.intp)


def _cell_corners(roots: FloatArray, counts: list[int]) -> FloatArray:
    """Corner values of every cell, shape (cells, 16, 3); corner bits run C, M, Y, K from high to low."""
    corners = np.empty((*counts, 16, 3))
    for number, bits in enumerate(product((0, 1), repeat=4)):
        window = tuple(slice(bit, bit + count) for bit, count in zip(bits, counts, strict=True))
        corners[..., number, :] = roots[window]
    return corners.reshape(-1, 16, 3)
