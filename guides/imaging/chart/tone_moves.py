"""How far each ink's dots have grown beyond a condition's: read from the ramps, before anything else is corrected.

A house that prints 70 % as the condition prints 82 % is moved there first. What is left to correct is then alike from
tint to tint, up into the shadows where key closes.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from bible.colour.condition import PressCondition, murray_davies

FloatArray = npt.NDArray[np.float64]

CHANNEL = (0, 1, 2, 1)
"""Of XYZ, the one each ink takes away most: where Murray and Davies' coverage is read."""

HOLD = (0.02, 0.05, 0.05)
"""How firmly no change at all is held to, for gain, its lean and its middle: a chart may have two steps an ink."""

ROBUST = 0.02
"""Coverage (0-1) from which a step that fits no smooth gain counts less: it may be a misprint."""

ROUNDS = 6
READABLE = 1.5
"""CIELAB units of error up to which a patch tells a coverage: beyond it lies what sRGB cannot hold."""

SHORTEST = 0.1
"""Share of the paper's light that a solid must take away before its ramp is read."""


def tone_moves(base: PressCondition, tints: FloatArray, xyz: FloatArray, error: FloatArray) -> FloatArray:
    """Percentages (4, 101) at which the condition prints what these patches show at 0 to 100 % of each ink.

    Args:
        base: the condition.
        tints: (n, 4) percentages.
        xyz: (n, 3) as read.
        error: (n,) how far each may be off, CIELAB units; a ramp whose solid nobody could read moves nothing.
    """
    whole = np.arange(101.0)
    moves = np.tile(whole, (4, 1))
    readable = error < READABLE
    paper = (tints.sum(axis=1) == 0) & readable
    if not paper.any():
        return moves
    for ink in range(4):
        others = np.delete(tints, ink, axis=1).any(axis=1) | ~readable
        alone, solid = ~others & (tints[:, ink] > 0) & (tints[:, ink] < 100), ~others & (tints[:, ink] == 100)
        if not solid.any() or not alone.any():
            continue
        light = xyz[:, CHANNEL[ink]]
        white, full = float(np.median(light[paper])), float(np.median(light[solid]))
        if white - full < SHORTEST * white:
            continue
        ramp = np.zeros((101, 4))
        ramp[:, ink] = whole
        known = np.clip(base.effective_coverage(ramp).coverage[:, ink] / 100.0, 0.0, 1.0)
        seen = np.clip(murray_davies(light[alone], white, full), 0.0, 1.0)
        grown = known + _grown(known[np.rint(tints[alone, ink]).astype(int)], seen, known)
        grown = np.maximum.accumulate(np.clip(grown, 0.0, 1.0))
        rising = np.maximum.accumulate(known) + np.arange(101) * 1e-9
        moves[ink] = np.interp(grown, rising, whole)
        moves[ink, 0], moves[ink, 100] = 0.0, 100.0
    return moves


def moved(moves: FloatArray, tints: FloatArray) -> FloatArray:
    """Tints (n, 4) as the condition is to be asked for them."""
    whole = np.arange(101.0)
    return np.stack([np.interp(tints[:, ink], whole, moves[ink]) for ink in range(4)], axis=1)


def _bows(cover: FloatArray) -> FloatArray:
    bow = 4 * cover * (1 - cover)
    return np.stack([bow, bow * (2 * cover - 1), bow * bow], axis=1)


def _grown(at: FloatArray, seen: FloatArray, known: FloatArray) -> FloatArray:
    """Growth of the dots (101,) along the condition's curve, from steps whose coverage was ``at`` and is ``seen``."""
    terms, wanted, weight = _bows(at), seen - at, np.ones(len(at))
    for _ in range(ROUNDS):
        rows = terms * weight[:, None]
        solved = np.linalg.solve(rows.T @ rows + np.diag(np.square(HOLD)), rows.T @ (wanted * weight))
        weight = 1.0 / np.maximum(1.0, np.abs(wanted - terms @ solved) / ROBUST)
    return np.asarray(_bows(known) @ solved)
