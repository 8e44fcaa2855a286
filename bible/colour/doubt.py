"""How far a press condition's predictions may be off, tint by tint."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class NodeDoubt:
    """CIEDE2000 within which 90 of 100 true colours lie, on a grid of tints and linear between.

    Attributes:
        levels: per ink, rising whole percentages from 0 to 100.
        nodes: (C levels, M levels, Y levels, K levels), not negative.
    """

    levels: tuple[tuple[int, ...], ...]
    nodes: FloatArray

    def __post_init__(self) -> None:
        nodes = np.array(self.nodes, dtype=np.float64)
        nodes.setflags(write=False)
        object.__setattr__(self, "nodes", nodes)

    def at(self, tints: FloatArray) -> FloatArray:
        """Doubt (n,) of percentages (n, 4) already known to be within 0-100."""
        cells, shares = [], []
        for ink, steps in enumerate(self.levels):
            at = np.array(steps, dtype=np.float64)
            cell = np.clip(np.searchsorted(at, tints[:, ink], side="right") - 1, 0, len(at) - 2)
            cells.append(cell)
            shares.append((tints[:, ink] - at[cell]) / (at[cell + 1] - at[cell]))
        out = np.zeros(len(tints))
        for corner in product((0, 1), repeat=4):
            weight = np.ones(len(tints))
            for share, upper in zip(shares, corner, strict=True):
                weight = weight * (share if upper else 1 - share)
            place = tuple(cell + upper for cell, upper in zip(cells, corner, strict=True))
            out += weight * self.nodes[place]
        return out
