"""Which of an area's samples say what its mark's ink does: the pieces around the mark, and one paint of two."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]

SPLIT = 0.12
"""Two parts of an area whose tones differ by more than this (log units, largest channel) are two colours."""

APART = 3.5
"""Distance of their middles in spreads from which two parts are two."""

OTHER_PAINT, PAINTS_APART = 3.0, 2.0
"""CIELAB distance on the guide, and the same in spreads of the paint, from which two parts that print differently
were painted differently as well: two areas, and no fault of one."""

SOME_CELLS = 12
"""Samples that can be told into two parts."""


NECK = 0.5
"""Of the room around a mark: what is narrower is a neck, and beyond it begins another piece."""


def own_piece(mask: Mask, filled: npt.NDArray[np.uint8], ink: Mask, at: tuple[int, int], enough: float) -> Mask:
    """Of a mask what lies around a place, as far as a neck: outlines fail, and a map then takes two areas for one.

    Args:
        mask: where the area's paint shows; filled: the same with its strokes filled in; ink: outlines and writing.
        at: column and row of the mark; enough: px below which the whole mask is kept.
    """
    import cv2

    free = np.pad(filled * ~ink, 1)
    room = np.asarray(cv2.distanceTransform(free, cv2.DIST_L2, 3)[1:-1, 1:-1], dtype=np.float32)
    reach = max(2, round(0.5 * float(room.max())))
    top, left = max(0, at[1] - reach), max(0, at[0] - reach)
    near = room[top : at[1] + reach + 1, left : at[0] + reach + 1]
    away = np.hypot(*np.ogrid[top - at[1] : top - at[1] + near.shape[0], left - at[0] : left - at[0] + near.shape[1]])
    row, column = np.unravel_index(int((near - away).argmax()), near.shape)
    neck = NECK * float(near[row, column])
    if neck < 1.0:
        return mask
    _, pieces = cv2.connectedComponents((room >= neck).astype(np.uint8), connectivity=4)
    core = (pieces == pieces[row + top, column + left]).astype(np.uint8)
    side = 2 * round(neck) + 1
    grown = cv2.dilate(core, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side))) > 0
    own = mask & grown
    return np.asarray(own if own.sum() >= enough else mask)


def nearer(mask: Mask, at: tuple[int, int], others: Sequence[tuple[int, int]], enough: float) -> Mask:
    """Of a mask what lies nearer to a place than to any of the others, unless less than ``enough`` px do."""
    rows, columns = np.ogrid[: mask.shape[0], : mask.shape[1]]
    own = mask.copy()
    for x, y in others:
        own &= (columns - at[0]) ** 2 + (rows - at[1]) ** 2 <= (columns - x) ** 2 + (rows - y) ** 2
    return own if own.sum() >= enough else mask


def nearest_pieces(mask: Mask, at: tuple[int, int], enough: float) -> Mask:
    """The connected piece of a mask around a place, or nearest to it, and the next ones until ``enough`` px are
    gathered: what a map has joined from afar may be another area."""
    import cv2

    count, pieces, stats, _ = cv2.connectedComponentsWithStats(mask.astype(np.uint8), connectivity=4)
    if count < 3:
        return mask
    rows, columns = np.nonzero(mask)
    near = np.full(count, np.inf)
    np.minimum.at(near, pieces[mask], np.hypot(columns - at[0], rows - at[1]))
    order = np.argsort(near)[: count - 1]
    gathered = np.cumsum(stats[order, cv2.CC_STAT_AREA])
    kept = order[: int(np.searchsorted(gathered, enough)) + 1]
    return np.asarray(np.isin(pieces, kept))


def robust_mean(tones: FloatArray, share: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Weighted mean and spread (3,) of samples (n, 3) by Tukey's biweight around the median."""
    centre = np.median(tones, axis=0)
    scale = np.maximum(1.4826 * np.median(np.abs(tones - centre), axis=0), 0.01)
    for _ in range(5):
        distance = np.sqrt((((tones - centre) / (4.5 * scale)) ** 2).max(axis=1))
        weight = share * np.clip(1.0 - distance**2, 0.0, None) ** 2
        total = weight.sum()
        if total <= 0:
            break
        centre = (weight[:, None] * tones).sum(axis=0) / total
    spread = np.sqrt((weight[:, None] * (tones - centre) ** 2).sum(axis=0) / max(total, 1e-12))
    return centre, spread


def split(tones: FloatArray, share: FloatArray) -> Mask | None:
    """Which samples (n,) are of the one colour and not of the other, by two means along the direction that they vary
    most; None when they make one colour."""
    if len(tones) < SOME_CELLS:
        return None
    rest = tones - np.median(tones, axis=0)
    axis = np.linalg.eigh(rest.T @ rest)[1][:, -1]
    along = rest @ axis
    cut = (np.percentile(along, 5) + np.percentile(along, 95)) / 2
    for _ in range(8):
        high = along > cut
        if high.all() or not high.any():
            return None
        cut = (along[high].mean() + along[~high].mean()) / 2
    first, second = np.median(tones[high], axis=0), np.median(tones[~high], axis=0)
    within = max(float(along[high].std()), float(along[~high].std()))
    if np.abs(first - second).max() < SPLIT or (along[high].mean() - along[~high].mean()) < APART * within:
        return None
    return np.asarray(high)


def other_paint(paint: npt.NDArray[np.float32], high: Mask, away: FloatArray) -> Mask | None:
    """Of two parts of an area the samples (n,) of the one that its mark means, where the guide's paint (n, 3; CIELAB)
    is another in the other one; None where both are painted alike. ``away`` (n,): distance to the mark."""
    way = np.median(paint[high], axis=0) - np.median(paint[~high], axis=0)
    far = float(np.linalg.norm(way))
    if far < OTHER_PAINT:
        return None
    along = paint @ (way / far)
    within = sum(0.74 * float(np.median(np.abs(along[part] - np.median(along[part])))) for part in (high, ~high))
    if far < PAINTS_APART * within:
        return None
    nearest = np.argsort(away)[: max(3, len(away) // 20)]
    return high if high[nearest].mean() > 0.5 else ~high
