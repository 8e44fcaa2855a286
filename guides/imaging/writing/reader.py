"""Crops to what the reading network says of them, those of one width together."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from guides.imaging.writing.crops import HEIGHT, Picture
from guides.imaging.writing.decode import Floats, chances
from guides.imaging.writing.lexicon import SIGNS
from guides.imaging.writing.models import run

BEHIND, STEP = 8, 8
"""Empty pixels behind every crop at least: the network has learnt that writing ends before there is nothing; and what
a width is a multiple of. Every pixel costs time, and crops at once save none. On the family that chooses 8 read as
well as 32 and none at all worse (of 478 faint codes in a crowd, log loss 0.308, 0.324 and 0.357)."""

AT_ONCE = 32
COLUMN = 4
"""Pixels of a crop a column of the answer stands for."""


def even(crop: Picture) -> Floats:
    """A crop brought to mean 0 and spread 1, (3, 32, w)."""
    values = crop.astype(np.float32)
    return np.asarray(((values - values.mean()) / (values.std() + 4)).transpose(2, 0, 1), np.float32)


def say(net: Any, crops: Sequence[Picture]) -> list[Floats]:
    """For each crop the probabilities (columns, signs) of blank and signs in each of its columns."""
    answers: list[Floats] = [np.zeros((0, len(SIGNS) + 1), np.float32)] * len(crops)
    alike = defaultdict[int, list[int]](list)
    for index, crop in enumerate(crops):
        alike[-(-(crop.shape[1] + BEHIND) // STEP) * STEP].append(index)
    for width, indices in sorted(alike.items()):
        for start in range(0, len(indices), AT_ONCE):
            chosen = indices[start : start + AT_ONCE]
            for index, shares in zip(chosen, _said(net, [crops[index] for index in chosen], width), strict=True):
                answers[index] = shares
    return answers


def _said(net: Any, crops: Sequence[Picture], width: int) -> list[Floats]:
    batch = np.zeros((len(crops), 3, HEIGHT, width), np.float32)
    for place, crop in enumerate(crops):
        batch[place, :, :, : crop.shape[1]] = even(crop)
    columns = np.array([-(-crop.shape[1] // COLUMN) for crop in crops])
    shares = chances(run(net, batch)[:, :, 0], columns)
    return [own[:end] for own, end in zip(shares, columns, strict=True)]


def together(answers: Sequence[Floats]) -> Floats:
    """Answers of different lengths as one array (n, columns, signs); behind its end each has only the blank."""
    longest = max((len(shares) for shares in answers), default=1)
    joined: npt.NDArray[np.float32] = np.zeros((len(answers), longest, len(SIGNS) + 1), np.float32)
    joined[:, :, 0] = 1.0
    for place, shares in enumerate(answers):
        joined[place, : len(shares)] = shares
    return joined
