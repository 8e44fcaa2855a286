"""Cellular Yule-Nielsen modified Neugebauer model with one tone curve per ink and channel.

Between measured nodes the n-th root of each of X, Y and Z is a blend of the cell's 16 corners, weighted by
Demichel's equations on coverages that follow the tone curve of that ink in that channel (Neugebauer 1937,
Yule and Nielsen 1951, cells after Heuberger, Jing and Persiev 1992: from memory). A coverage per channel, not
one per ink, takes up what optical dot gain does differently to different wavelengths.

Cells alone leave creases where they meet and flatten what lies between. So every wide cell is halved first,
with the new nodes from a smooth curve through the measured ones (modified Akima: local, quiet beside noise).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise, product

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
_SingleArray = npt.NDArray[np.float32]
_IndexArray = npt.NDArray[np.intp]

YULE_NIELSEN_N = 2.0
"""The classic value for paper that scatters light fully between the dots; 1.5 to 4 did no better overall."""

HALVED_FROM = 10
"""Percentage points between two nodes from which a cell is halved; below, linear is as good as measured."""

_CHUNK = 4096
"""Tints evaluated at a time, so that what is gathered for them stays in the processor's cache."""

_STEPS = 101
_MIN_SPAN = 1e-9
_INK_OFFSETS = np.arange(4, dtype=np.intp)[:, None] * _STEPS


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
    _tables: _Tables = field(init=False, repr=False)

    def __post_init__(self) -> None:
        for name in ("nodes", "tones"):  # models are shared: nobody may change one in passing
            array = np.array(getattr(self, name), dtype=np.float64)
            array.setflags(write=False)
            object.__setattr__(self, name, array)
        object.__setattr__(self, "_tables", _build(self))

    def xyz(self, tints: FloatArray) -> FloatArray:
        """XYZ (n, 3) of percentages (n, 4) already known to be within 0-100."""
        count = len(tints)
        out = np.empty((count, 3))
        for start in range(0, count, _CHUNK):
            out[start : start + _CHUNK] = _evaluate(self._tables, tints[start : start + _CHUNK])
        return out


@dataclass(frozen=True, eq=False)
class _Tables:
    """The model laid out for speed, in single precision: relative error 1e-6, far below the data's last digit.

    Attributes:
        cell: what each ink's percentage adds to the number of its cell, (404,).
        weight, slope: position within the cell and its growth per percent, per channel, (3, 404).
        tile, tile_slope: the same with the channels repeated for four corners, (404, 12).
        corners: the cells, (4, cells, 12): corner values over magenta, yellow and channel without key and cyan,
            then what key, cyan, and both together add.
        keyless: the two parts that matter without key, for the cells without key, (2, CMY cells, 12).
    """

    cell: _IndexArray
    weight: _SingleArray
    slope: _SingleArray
    tile: _SingleArray
    tile_slope: _SingleArray
    corners: _SingleArray
    keyless: _SingleArray


def _evaluate(tables: _Tables, tints: FloatArray) -> _SingleArray:
    """XYZ of a chunk: blend over key and cyan with the corners together, then over magenta and yellow.

    The order of work is the point: gathering whole rows of corners and turning them once is several times faster
    than gathering corner by corner.
    """
    percent = np.ascontiguousarray(tints.T)
    whole = percent.astype(np.intp)
    rest: _SingleArray | None = None
    if (percent != whole).any():
        rest = (percent - whole).astype(np.float32)
    keyless = not percent[3].any()
    whole += _INK_OFFSETS
    cells = tables.cell.take(whole, mode="clip")
    cell = cells.sum(axis=0)
    if keyless:
        base, rise = tables.keyless.take(cell, axis=1, mode="clip")
    else:
        base, key_rise, rise, both = tables.corners.take(cell, axis=1, mode="clip")
        key = _tile(tables, whole[3], None if rest is None else rest[3])
        key_rise *= key
        base += key_rise
        both *= key
        rise += both
    rise *= _tile(tables, whole[0], None if rest is None else rest[0])
    base += rise
    inner = whole[1:3]
    weight = tables.weight.take(inner, axis=1, mode="clip")
    if rest is not None:
        weight += tables.slope.take(inner, axis=1, mode="clip") * rest[1:3]
    corner = np.ascontiguousarray(base.T).reshape(4, 3, -1)
    over_magenta = corner[2:] - corner[:2]
    over_magenta *= weight[:, 0]
    over_magenta += corner[:2]
    root = over_magenta[1] - over_magenta[0]
    root *= weight[:, 1]
    root += over_magenta[0]
    root *= root  # the Yule-Nielsen power, n = 2
    return root.T


def _tile(tables: _Tables, at: _IndexArray, rest: _SingleArray | None) -> _SingleArray:
    tile = tables.tile.take(at, axis=0, mode="clip")
    if rest is not None:
        tile += tables.tile_slope.take(at, axis=0, mode="clip") * rest[:, None]
    return tile


def _build(model: CellularModel) -> _Tables:
    roots = np.maximum(model.nodes, 0.0) ** (1.0 / YULE_NIELSEN_N)
    levels = list(model.levels)
    for ink in range(4):
        finer = _halved(levels[ink])
        roots = refined(roots, ink, model.tones[ink], levels[ink], finer)
        levels[ink] = finer
    counts = [len(steps) - 1 for steps in levels]
    # Key is the slowest to change, so that the cells without key are one block.
    strides = (counts[1] * counts[2], counts[2], 1, counts[0] * counts[1] * counts[2])
    weight, slope, cell = np.zeros((4, _STEPS, 3)), np.zeros((4, _STEPS, 3)), np.zeros((4, _STEPS), np.intp)
    for ink, steps in enumerate(levels):
        for number, (low, high) in enumerate(pairwise(steps)):
            local = _local(model.tones[ink, low : high + 1])
            weight[ink, low : high + 1] = local
            slope[ink, low:high] = np.diff(local, axis=0)
            slope[ink, high] = 0.0
            cell[ink, low : high + 1] = number * strides[ink]
    # A level belongs to the cell on its right: the next turn of the loop overwrote it there, slope included.
    corners = _corners(roots, counts)
    weights, slopes = weight.reshape(-1, 3), slope.reshape(-1, 3)
    return _Tables(
        cell=cell.reshape(-1),
        weight=_single(weights.T),
        slope=_single(slopes.T),
        tile=_single(np.tile(weights, 4)),
        tile_slope=_single(np.tile(slopes, 4)),
        corners=corners,
        keyless=_single(corners[[0, 2], : strides[3]]),
    )


def _single(array: npt.NDArray[np.floating]) -> _SingleArray:
    return np.ascontiguousarray(array, dtype=np.float32)


def _local(curve: FloatArray) -> FloatArray:
    """The tone curve within one cell, 0 at its start and 1 at its end; a flat stretch counts as linear."""
    span = curve[-1] - curve[0]
    flat = span <= _MIN_SPAN
    linear = np.linspace(0.0, 1.0, len(curve))[:, None]
    return np.where(flat, linear, (curve - curve[0]) / np.where(flat, 1.0, span))


def _corners(roots: FloatArray, counts: list[int]) -> _SingleArray:
    """Cells as ``_Tables.corners`` has them, from node values (C, M, Y, K, 3)."""
    cyan, magenta, yellow, key = counts
    grid = roots.transpose(3, 0, 1, 2, 4)
    values = np.empty((2, 2, key, cyan, magenta, yellow, 2, 2, 3))
    for k, c, m, y in product((0, 1), repeat=4):
        values[k, c, ..., m, y, :] = grid[k : k + key, c : c + cyan, m : m + magenta, y : y + yellow]
    paper, with_key = values[0, 0], values[1, 0]
    with_cyan, with_both = values[0, 1], values[1, 1]
    parts = np.stack([paper, with_key - paper, with_cyan - paper, with_both - with_cyan - with_key + paper])
    return _single(parts.reshape(4, -1, 12))


def _halved(levels: tuple[int, ...]) -> tuple[int, ...]:
    finer = {*levels, *((low + high) // 2 for low, high in pairwise(levels) if high - low >= HALVED_FROM)}
    return tuple(sorted(finer))


def refined(
    roots: FloatArray, axis: int, tone: FloatArray, levels: tuple[int, ...], finer: tuple[int, ...]
) -> FloatArray:
    """Root node values (..., 3) along one ink's axis at other levels, smooth in the ink's tone per channel."""
    lines = np.moveaxis(roots, axis, 0)
    out = np.empty((len(finer), *lines.shape[1:]))
    # A trace of the nominal percentage keeps the abscissa rising where a tone curve is flat.
    position = tone + 1e-3 * np.linspace(0.0, 1.0, _STEPS)[:, None]
    for channel in range(3):
        known, wanted = position[list(levels), channel], position[list(finer), channel]
        out[..., channel] = modified_akima(known, lines[..., channel], wanted)
    return np.moveaxis(np.maximum(out, 0.0), 0, axis)


def modified_akima(x: FloatArray, y: FloatArray, at: FloatArray) -> FloatArray:
    """Modified Akima interpolation along the first axis: a cubic curve that does not swing beside a jump.

    Args:
        x: rising abscissae (n,), n >= 2.
        y: values (n, ...).
        at: where to interpolate (m,), within x.

    Returns:
        Values (m, ...). Two points give a straight line. After H. Akima (1970), with weights that add the mean
        slope, as SciPy's ``Akima1DInterpolator(method="makima")`` has them.
    """
    if len(x) == 2:
        slopes = np.repeat((y[1:] - y[:1]) / (x[1] - x[0]), 2, axis=0)
    else:
        shape = (-1,) + (1,) * (y.ndim - 1)
        inner = np.diff(y, axis=0) / np.diff(x).reshape(shape)
        before = 2 * inner[:1] - inner[1:2]
        after = 2 * inner[-1:] - inner[-2:-1]
        chords = np.concatenate([2 * before - inner[:1], before, inner, after, 2 * after - inner[-1:]])
        change = np.abs(np.diff(chords, axis=0)) + np.abs(chords[1:] + chords[:-1]) / 2
        left, right = change[2:], change[:-2]
        total = left + right
        safe = np.where(total > 0, total, 1.0)
        slopes = np.where(total > 0, (left * chords[1:-2] + right * chords[2:-1]) / safe, 0.0)
    cell = np.clip(np.searchsorted(x, at, side="right") - 1, 0, len(x) - 2)
    width = (x[cell + 1] - x[cell]).reshape((-1,) + (1,) * (y.ndim - 1))
    t = ((at - x[cell]) / (x[cell + 1] - x[cell])).reshape(width.shape)
    return np.asarray(
        (1 + 2 * t) * (1 - t) ** 2 * y[cell]
        + t * (1 - t) ** 2 * width * slopes[cell]
        + t**2 * (3 - 2 * t) * y[cell + 1]
        + t**2 * (t - 1) * width * slopes[cell + 1]
    )
