"""Crops to what the reading network says of them, in batches of about one width."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from guides.imaging.writing.crops import HEIGHT, Picture
from guides.imaging.writing.decode import Floats, chances
from guides.imaging.writing.lexicon import SIGNS
from guides.imaging.writing.models import run

BEHIND = 32
"""Empty pixels behind every crop: the network has learnt that writing ends before there is nothing."""

BATCH = 8
COLUMN = 4
"""Pixels of a crop a column of the answer stands for."""


def even(crop: Picture) -> Floats:
    """A crop brought to mean 0 and spread 1, (3, 32, w)."""
    values = crop.astype(np.float32)
    return np.asarray(((values - values.mean()) / (values.std() + 4)).transpose(2, 0, 1), np.float32)


def say(net: Any, crops: Sequence[Picture]) -> list[Floats]:
    """For each crop the probabilities (columns, signs) of blank and signs in each of its columns."""
    order = sorted(range(len(crops)), key=lambda i: crops[i].shape[1])
    answers: list[Floats] = [np.zeros((0, len(SIGNS) + 1), np.float32)] * len(crops)
    for start in range(0, len(order), BATCH):
        chosen = order[start : start + BATCH]
        widest = crops[chosen[-1]].shape[1] + BEHIND
        batch = np.zeros((len(chosen), 3, HEIGHT, -(-widest // 16) * 16), np.float32)
        for place, index in enumerate(chosen):
            batch[place, :, :, : crops[index].shape[1]] = even(crops[index])
        columns = np.array([-(-crops[index].shape[1] // COLUMN) for index in chosen])
        shares = chances(run(net, batch)[:, :, 0], columns)
        for place, index in enumerate(chosen):
            answers[index] = shares[place, : columns[place]]
    return answers


def together(answers: Sequence[Floats]) -> Floats:
    """Answers of different lengths as one array (n, columns, signs); behind its end each has only the blank."""
    longest = max((len(shares) for shares in answers), default=1)
    joined: npt.NDArray[np.float32] = np.zeros((len(answers), longest, len(SIGNS) + 1), np.float32)
    joined[:, :, 0] = 1.0
    for place, shares in enumerate(answers):
        joined[place, : len(shares)] = shares
    return joined
