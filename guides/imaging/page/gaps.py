"""Gaps between the lines of a page: what a line closes in stays together, whatever is written over it."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from guides.imaging.page.filling import Labels
from guides.imaging.page.scaling import BoolArray

COUNTER, WITHIN = 4.0, 0.8
"""Area in square pens from which what a piece of ink encloses tells a button from a letter, and the share of it that
lies within words where it is a letter's."""

BESIDE = ((0, 1), (0, -1), (1, 0), (-1, 0))


def gaps_of(line: BoolArray) -> Labels:
    """Pieces (h, w) of the page between its lines, from 1; 0 on lines."""
    return np.asarray(cv2.connectedComponents((~line).astype(np.uint8), connectivity=4, ltype=cv2.CV_32S)[1])


def keep_in(labels: Labels, found: Labels, gaps: Labels, least: float) -> BoolArray:
    """Take back, in place, what ``spread`` gave to cells on the other side of a line: what a line closes in belongs
    to the cells within, and is a cell of its own where there are none. Returns where (h, w) there are such new ones.

    Args:
        labels: (h, w), every pixel's nearest cell; found: (h, w), the cells themselves, 0 elsewhere.
        gaps: (h, w), see ``gaps_of``; least: pixels of the smallest that is a cell of its own.
    """
    number, count = int(found.max()) + 1, int(gaps.max()) + 1
    home = np.zeros(number, np.int32)
    inside = found > 0
    home[found[inside]] = gaps[inside]
    lived_in = np.zeros(count, bool)
    lived_in[home] = True
    lost = (gaps > 0) & (home[labels] != gaps)
    alone = ~lived_in & (np.bincount(gaps.ravel(), minlength=count) >= least)
    fresh = lost & alone[gaps]
    labels[fresh] = (np.cumsum(alone) + number - 1)[gaps[fresh]]
    lost &= lived_in[gaps]
    rows, columns = np.nonzero(lost)
    while len(rows):
        given = np.zeros(len(rows), np.int32)
        for row, column in _beside(rows, columns, labels.shape):
            near = (gaps[row, column] > 0) & ~lost[row, column] & (given == 0)
            given[near] = labels[row[near], column[near]]
        done = given > 0
        if not done.any():
            break
        labels[rows[done], columns[done]] = given[done]
        lost[rows[done], columns[done]] = False
        rows, columns = rows[~done], columns[~done]
    return np.asarray(fresh)


def ringed(pieces: Labels, asked: BoolArray, gaps: Labels, pen: float, written: BoolArray) -> BoolArray:
    """Which of the pieces of ink (n,) that are ``asked`` about go all around something that reaches out of the words:
    a button's outline, for what a letter encloses lies within its word as the letter does.

    Args:
        pieces: (h, w), pieces of ink, 0 elsewhere; gaps: (h, w), see ``gaps_of``.
        written: (h, w), where words stand.
    """
    count = int(gaps.max()) + 1
    size = np.maximum(np.bincount(gaps.ravel(), minlength=count), 1)
    inside = np.bincount(gaps[written], minlength=count)
    reaching = (size > COUNTER * pen**2) & (inside < WITHIN * size)
    rows, columns = np.nonzero(asked[pieces])
    own = pieces[rows, columns].astype(np.int64)
    keys = [own * count + gaps[beside] for beside in _beside(rows, columns, pieces.shape)]
    piece, gap = np.divmod(np.unique(np.concatenate(keys)), count)
    around = np.zeros(len(asked), np.int64)
    np.maximum.at(around, piece, size[gap] * (gap > 0))
    found = np.zeros(len(asked), bool)
    found[piece[(gap > 0) & reaching[gap] & (size[gap] < around[piece])]] = True
    return found


def _beside(
    rows: npt.NDArray[np.int64], columns: npt.NDArray[np.int64], shape: tuple[int, ...]
) -> list[tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]]:
    """The places beside each, on all four sides; at the edge of the page the place itself."""
    return [
        (np.clip(rows + down, 0, shape[0] - 1), np.clip(columns + across, 0, shape[1] - 1)) for down, across in BESIDE
    ]
